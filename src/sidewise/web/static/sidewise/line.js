// Has a typed line read, and loses none: what cannot reach the server is kept on the device,
// encrypted, and waits at the server for a person as soon as the network is back. Nothing of a line
// is recorded before somebody has seen what was read in it.
//
// A form marked data-line works without this as well.

import { freshId, keep, message, takeOver, tell } from "./forms.js";

const KEPT = "Not read yet: the network is lost. The line is kept on this device, encrypted. When the network is back it goes to the server by itself; then you see what was read and record it.";
const STAYS = "Not read: there is no network connection, and nothing can be stored on this device. The line stays here; try again when the network is back.";
const WAITS = "Nothing was recorded: there is no network connection. The line is still waiting at the server.";
const SIGNED_OUT = "Not read: you are signed out. The line stays here; sign in again in another tab, then try again.";

const putAway = (form, words) => {
  if (form.querySelector("textarea")) {
    form.elements.text.value = "";
    tell(form, words, false);
  } else {
    // Confirmed once more it could be recorded twice: the line is on its way another way now.
    form.replaceWith(message(words, false));
  }
};

// Whether the line is safe: kept by the queue, or still waiting at the server where it came from.
const lost = async (form, signedOut = false) => {
  if (form.elements.held) { tell(form, WAITS); return; }
  const id = form.elements.touch?.value ?? freshId();
  const deed = { do: "line", text: form.elements.text.value.trim() };
  if (!(await keep(new URL(form.action).pathname, id, deed))) { tell(form, signedOut ? SIGNED_OUT : STAYS); return; }
  putAway(form, KEPT);
  if (signedOut) document.dispatchEvent(new CustomEvent("signed-out"));
};

takeOver("form[data-line]", { lost, at: "h1" });
