// Shows at its row what was touched and not sent yet: in words, marked as waiting, never as saved.

let last = [];

const placeOf = ({ item, side, mode }) => [item, side, mode].filter(Boolean).join(" ");

const cellOf = (finding) => {
  const place = placeOf(finding);
  const field = [...document.querySelectorAll("#main input[name=places]")].find((one) => one.value === place);
  return field?.closest(".cell") ?? document.getElementById(`row-${finding.item}`);
};

// A vital sign or a score stands in a form of several fields.
const fieldOf = (field) => {
  const [table, name] = field.split(".");
  const form = { vitals: "vitals", scales: "scores" }[table];
  return form ? document.querySelector(`#${form} [name="${name}"]`)?.closest(".field") : null;
};

const spotOf = ({ deed }) => deed.do === "found" ? cellOf(deed.finding)
  : deed.do === "state" ? document.getElementById(`q-${deed.field.replace(/^history\./, "")}`) ?? fieldOf(deed.field) : null;

const saidOf = ({ deed }) => {
  if (deed.do === "state") return [deed.value].flat().join(" and ") || "not stated";
  const { value, status } = deed.finding;
  return value ? Object.entries(value).filter(([name]) => name !== "kind")
    .map(([name, part]) => part === true ? name : part === false ? `no ${name}` : part).join(", ") : status;
};

/** Marks the rows of the entries, the latest of each place; takes away what no longer waits. */
export const markRows = (entries) => {
  last = entries;
  for (const old of document.querySelectorAll("#main .waits")) old.remove();
  const latest = new Map();
  for (const entry of entries) {
    const spot = spotOf(entry);
    if (spot) latest.set(spot, saidOf(entry));
  }
  for (const [spot, said] of latest) {
    const line = document.createElement("p");
    line.className = "waits";
    line.textContent = `${said}: waiting, not sent yet`;
    spot.append(line);
  }
};

// A part of the page that was brought anew has lost its marks.
document.addEventListener("htmx:load", () => markRows(last));
