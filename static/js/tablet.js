// On a shared tablet: lock the page when nobody has touched any of its tabs for a while.
// The server keeps the same time by itself; this only hides what is on the screen.
(() => {
  "use strict";
  const { idleSeconds, lockAddress, awakeAddress } = document.currentScript.dataset;
  const idle = Number(idleSeconds) * 1000;
  const KEY = "unbroken-last-touch";
  const TELL_EVERY = 60 * 1000;
  let told = Date.now();
  let timer = 0;

  const touch = () => {
    const now = Date.now();
    localStorage.setItem(KEY, String(now)); // all tabs of the tablet share it
    if (now - told < TELL_EVERY) return;
    told = now; // typing in a long form is work too: the server hears of it once a minute
    const headers = JSON.parse(document.body.getAttribute("hx-headers") || "{}");
    fetch(awakeAddress, { method: "POST", headers, redirect: "manual" }).catch(() => {});
  };
  const look = () => {
    clearTimeout(timer);
    const rest = Number(localStorage.getItem(KEY)) + idle - Date.now();
    if (rest <= 0) location.replace(lockAddress);
    else timer = setTimeout(look, Math.min(rest + 1000, TELL_EVERY));
  };

  localStorage.setItem(KEY, String(Date.now()));
  for (const kind of ["pointerdown", "keydown"]) {
    document.addEventListener(kind, touch, { passive: true });
  }
  document.addEventListener("visibilitychange", () => { if (!document.hidden) look(); });
  look();
})();
