// Carries an angle read from a photograph or from the tilt sensor into the fields beside it.
// Nothing is recorded until a person has seen the number and touches "record".

// The tools are fetched when the first of them is opened; they find their own elements.
document.addEventListener("toggle", async (event) => {
  const tools = event.target.closest?.("[data-angle-tools]");
  if (!tools?.open) return;
  const modules = await Promise.all(tools.dataset.modules.split(" ").map((address) => import(address)));
  for (const { attach } of modules) attach(tools);
}, true);

document.addEventListener("change", (event) => {
  const tools = event.target.closest?.("[data-angle-tools]");
  if (!tools || event.detail?.degrees === undefined) return;
  const form = tools.previousElementSibling;
  const field = (name) => form.elements[`angle.${name}`];
  const { degrees, sd, instrument } = event.detail;
  field("degrees").value = String(Math.round(degrees));
  field("sd").value = sd === null ? "" : sd.toFixed(1);
  if (instrument) field("instrument").value = instrument;
  const text = `${Math.round(degrees)} degrees: look, then record`;
  document.dispatchEvent(new CustomEvent("notice", { detail: { text } }));
});

// A number typed over it is no longer the tool's: its error does not belong to it.
document.addEventListener("input", (event) => {
  const sd = event.target.name === "angle.degrees" && event.target.form?.elements["angle.sd"];
  if (sd) sd.value = "";
});
