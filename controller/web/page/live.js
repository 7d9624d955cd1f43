// Keeps the figures fresh while the page is open. Without script the page works
// the same and is refreshed by hand.
"use strict";
(function () {
  function say(text, good) {
    const note = document.getElementById("live");
    note.textContent = text;
    note.className = good ? "" : "old";
    document.body.classList.toggle("old", !good);
    return note;
  }
  async function refresh() {
    let answer, text;
    try {
      answer = await fetch(location.pathname, { credentials: "same-origin", signal: AbortSignal.timeout(4500) });
      text = await answer.text();
    } catch (e) {
      say("no connection: these figures are old");
      return;
    }
    if (answer.redirected) {
      const link = document.createElement("a");
      link.href = "/signin";
      link.textContent = "sign in";
      say("signed out, these figures are old: ").append(link);
    } else if (!answer.ok) {
      say("the daemon answers " + answer.status + ": these figures are old");
    } else {
      const fresh = new DOMParser().parseFromString(text, "text/html");
      for (const part of document.querySelectorAll("[data-live]")) {
        const other = fresh.getElementById(part.id);
        if (other && other.innerHTML !== part.innerHTML) part.innerHTML = other.innerHTML;
      }
      say("live", true);
    }
  }
  refresh();
  setInterval(refresh, 5000);
})();
