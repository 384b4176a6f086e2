// What the pages gain where JavaScript runs; each works without it.
(() => {
  "use strict";

  // A form is sent once: the second press of its button does nothing.
  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (form.method !== "post" || form.hasAttribute("hx-post")) return;
    if (form.dataset.sent) {
      event.preventDefault();
      return;
    }
    form.dataset.sent = "yes";
  });
  // Coming back by the browser's button finds the form ready again.
  window.addEventListener("pageshow", () => {
    for (const form of document.querySelectorAll("form[data-sent]")) delete form.dataset.sent;
  });

  // After a refused form, go to the first field that is wrong.
  const wrong = document.querySelector(".field-wrong input, .field-wrong select, .field-wrong textarea");
  if (wrong) wrong.focus();

  // A fragment that failed says so where the person looks.
  document.addEventListener("htmx:sendError", () => say("No connection: nothing was sent. Try again."));
  document.addEventListener("htmx:responseError", (event) => {
    say(event.detail.xhr.status === 403 ? "Your role does not let you do this." : "That did not work; nothing was changed.");
  });
  function say(sentence) {
    const main = document.querySelector("#main");
    let list = main.querySelector(".messages");
    if (!list) {
      list = document.createElement("ul");
      list.className = "messages";
      list.setAttribute("role", "alert");
      main.prepend(list);
    }
    const item = document.createElement("li");
    item.className = "message message-error";
    item.textContent = sentence;
    list.replaceChildren(item);
  }
})();
