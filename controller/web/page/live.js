// Keeps the figures of an open page fresh: the server sends what changed. Without script
// the page works the same and is refreshed by hand. The age of the decision loop's last
// step, not the connection, says whether figures are live.
"use strict";
(function () {
  const base = new URL(document.currentScript.src).pathname.replace(/\/live\.js$/, ""); // of a station of several, else nothing
  const here = () => location.pathname.slice(base.length);
  const beatEvery = 5, tolerated = 15; // seconds
  const note = document.getElementById("live"), words = note.dataset;
  const held = new Map(); // parts that wait while a form is in use
  let stream = null, heard = 0, seen = "", over = false, zone = null, looked = Date.now();

  function say(text, good) {
    if (note.textContent !== text) note.textContent = text;
    note.className = good ? "" : "stale";
    document.body.classList.toggle("old", !good);
  }
  function old(why) {
    say((why ? why + ": " : "") + (seen ? words.sayOf + " " + seen : words.sayOld), false);
  }
  // In a form nothing may move: there only figures of a fixed size and the bar are set.
  function mayMove(part) {
    return !document.activeElement || !document.activeElement.closest("main form") || part.closest(".bar, head") || part.classList.contains("figure");
  }
  function put(id, html) {
    const part = document.getElementById(id);
    if (!part) return;
    if (!mayMove(part)) { held.set(id, html); return; }
    held.delete(id);
    if (part.innerHTML === html) return;
    const at = part.contains(document.activeElement) && document.activeElement.getAttribute("href");
    part.innerHTML = html;
    if (at) for (const link of part.querySelectorAll("a")) if (link.getAttribute("href") === at) link.focus({ preventScroll: true });
  }
  // The farm's zone and the time here, where the phone is elsewhere.
  function abroad() {
    const now = new Date();
    if (!zone || zone.east === -now.getTimezoneOffset()) return "";
    return " " + zone.name + " (" + words.sayHere + " " + String(now.getHours()).padStart(2, "0") + ":" + String(now.getMinutes()).padStart(2, "0") + ")";
  }
  function take(message) {
    const change = JSON.parse(message.data);
    heard = performance.now();
    zone = change.zone || zone;
    seen = change.at + abroad();
    for (const id in change.parts || {}) put(id, change.parts[id]);
    if (change.loop > beatEvery) old(words.sayStood + " " + change.loop + " s");
    else say(words.sayLive + " " + seen, true);
  }
  function open() {
    if (stream || over || document.hidden) return;
    stream = new EventSource(base + "/live?page=" + encodeURIComponent(here()));
    stream.onmessage = take;
    stream.onerror = function () {
      old(words.sayCut);
      if (stream && stream.readyState === EventSource.CLOSED) { close(); setTimeout(open, 5000); }
    };
    stream.addEventListener("out", function (message) {
      over = true;
      close();
      old(message.data);
      const link = document.createElement("a");
      link.href = base + "/signin?to=" + encodeURIComponent(here());
      link.textContent = " " + words.sayIn;
      note.append(link);
    });
  }
  function close() {
    if (stream) stream.close();
    stream = null;
  }
  // A page that nobody sees is marked old at once, so that it is painted old on waking.
  document.addEventListener("visibilitychange", function () {
    if (document.hidden) { close(); if (!over) old(""); } else open();
  });
  window.addEventListener("pageshow", function (e) { if (e.persisted) { close(); if (!over) old(""); open(); } });
  document.addEventListener("focusout", function () { setTimeout(function () { for (const [id, html] of [...held]) put(id, html); }, 0); });
  // A machine that slept tells nobody: its clock shows it.
  document.addEventListener("freeze", function () { close(); if (!over) old(""); });
  document.addEventListener("resume", open);
  setInterval(function () {
    const now = Date.now(), slept = now - looked > tolerated * 1000 || now < looked;
    looked = now;
    if (slept && stream) { close(); old(""); open(); }
    if (stream && heard && performance.now() - heard > tolerated * 1000) old(words.sayStill);
  }, 1000);
  if ("serviceWorker" in navigator && !base) navigator.serviceWorker.register("/worker.js").catch(function () {}); // without one the browser's own page answers offline
  open();
})();
