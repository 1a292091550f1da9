// Records what was done and planned, and loses none of it without network: the fields are kept on the
// device as they were typed, encrypted, and are checked at the server as soon as the network is back.
// What does not make an entry there waits for a person; nothing of it is recorded half.
//
// A form marked data-care works without this as well.

import { freshId, keep, takeOver, tell } from "./forms.js";

const KEPT = "Not confirmed: no answer came. It is kept on this device, encrypted, and goes to the server by itself when the network is back; however often it is sent it is recorded once. If a flag raised meanwhile stands against it, you are asked there.";
const STAYS = "Not confirmed: no answer came, and nothing can be stored on this device. What you typed stays here; when the network is back, see first whether it was recorded.";
const WAITS = "Nothing was recorded: there is no network connection. The form is still waiting at the server.";
const SIDES = "The side was not given the same twice: look at the patient, then choose again.";

// What the server would refuse for certain is said at once, while the patient is still there.
const wrong = (form) => {
  const side = form.querySelector("[name$='-side']");
  const again = form.querySelector("[name$='-side_again']");
  return again && side.value !== again.value ? SIDES : "";
};

const lost = async (form, signedOut = false) => {
  if (form.elements.held) { tell(form, WAITS); return; }
  if (!form.reportValidity()) return;
  if (wrong(form)) { tell(form, wrong(form)); return; }
  const { touch } = form.elements;
  const kind = form.querySelector("button[name=kind]").value;
  const fields = [...new FormData(form)].filter(([name]) => name.startsWith(`${kind}-`));
  const address = new URL(form.action).pathname.replace(/care\/$/, "touch/");
  if (!(await keep(address, touch.value, { do: "form", kind, fields }))) { tell(form, STAYS); return; }
  const id = freshId();
  form.reset();
  touch.value = id;
  tell(form, KEPT, false);
  if (signedOut) document.dispatchEvent(new CustomEvent("signed-out"));
};

takeOver("form[data-care]", { lost, at: "[role=alert]" });
