// Fields of the context as entries {do: "state"}: an answer by its button, or every field of a
// form that a person changed since the page showed it, each with the entries that it was shown from.

// The latest entry of this page for each field of the context: a second answer given before the
// first has come back takes its place, as it does for a person who sees both.
const told = new Map();

const text = (values) => JSON.stringify([...values].sort());

// Several answers by one button, one field by its button, or every field of a form that was changed since the page showed it.
const statedIn = (form, button) => {
  const data = new FormData(form);
  if (data.has("answers")) return JSON.parse(data.get("answers")).map((one) => ({ ...one, replaces: [] }));
  if (data.has("state")) {
    return [{ field: data.get("state"), value: button.value, replaces: (data.get("replaces") ?? "").split(" ").filter(Boolean) }];
  }
  return Object.entries(JSON.parse(data.get("states"))).flatMap(([name, { field, was, replaces }]) => {
    const now = data.getAll(name).map((given) => given.trim());
    const several = form.querySelector(`[name="${name}"]`)?.type === "checkbox";
    const same = text(now) === text(was) && text(told.get(field)?.now ?? was) === text(was);
    return same ? [] : [{ field, value: several ? now : now[0], replaces }];
  });
};

export const statements = (form, button, touch, at) =>
  statedIn(form, button).map(({ field, value, replaces }, number) => {
    const id = `${touch}.${number}`;
    const before = told.has(field) ? [told.get(field).id] : [];
    told.set(field, { id, now: [value].flat() });
    return { id, at, deed: { do: "state", field, value, replaces: [...new Set([...replaces, ...before])] } };
  });

export const isStatement = (form) => Boolean(form.elements.state || form.elements.states || form.elements.answers);
