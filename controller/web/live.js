// Keeps the figures fresh while the page is open. Without script the page works
// the same and is refreshed by hand.
"use strict";
(function () {
  async function refresh() {
    const note = document.getElementById("live");
    try {
      const answer = await fetch("/", { credentials: "same-origin" });
      if (!answer.ok || answer.redirected) throw new Error("signed out");
      const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
      for (const part of document.querySelectorAll("[data-live]")) {
        const other = fresh.getElementById(part.id);
        if (other) part.replaceWith(document.adoptNode(other));
      }
      note.textContent = "live";
      note.className = "ok";
    } catch (e) {
      note.textContent = "no connection: these figures are old";
      note.className = "bad";
    }
  }
  setInterval(refresh, 5000);
})();
