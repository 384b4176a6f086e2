// A check's readings: a pasted column goes into the fields, Enter to the next one.
(() => {
  "use strict";
  const fields = () => [...document.querySelectorAll("[data-readings] input:not([type=hidden])")];

  document.addEventListener("paste", (event) => {
    const all = fields();
    const first = all.indexOf(event.target);
    if (first < 0) return;
    const lines = event.clipboardData.getData("text").split(/[\r\n\t]+/).map((line) => line.trim()).filter(Boolean);
    if (lines.length < 2) return; // one value is pasted as usual
    event.preventDefault();
    lines.slice(0, all.length - first).forEach((line, number) => { all[first + number].value = line; });
    const last = all[Math.min(first + lines.length, all.length) - 1];
    last.focus();
    last.dispatchEvent(new Event("input", { bubbles: true }));
  });

  document.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" || event.isComposing) return;
    const all = fields();
    const place = all.indexOf(event.target);
    if (place < 0) return;
    event.preventDefault(); // a half-typed check must not be recorded by Enter
    const next = all[place + 1] || document.querySelector("[data-readings-done]");
    next.focus();
  });
})();
