// Says what happened, in one polite live region, also when a request failed.

const place = document.getElementById("notice");
let timer;

const say = (text, wrong) => {
  clearTimeout(timer);
  place.textContent = text;
  place.classList.toggle("wrong", Boolean(wrong));
  // A success fades from sight; a failure stays until something else is said.
  if (!wrong) timer = setTimeout(() => { place.textContent = ""; }, 2500);
};

document.addEventListener("notice", (event) => say(event.detail.text, event.detail.wrong));
document.addEventListener("htmx:sendError", () => say("There is no network connection. Nothing was changed; try again when it is back.", true));
document.addEventListener("htmx:responseError", (event) => {
  const status = event.detail.xhr.status;
  say(status === 403 ? "You may read these records but not change them." : `The server answered ${status}. Nothing was changed; try again.`, true);
});

for (const button of document.querySelectorAll("[data-print]")) {
  button.hidden = false;
  button.addEventListener("click", () => window.print());
}
