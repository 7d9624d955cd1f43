// Passkeys: the page asks the device, and sends what it says as a form. Without script, or
// where the device knows none, the password does the same.
"use strict";
(function () {
  const base = new URL(document.currentScript.src).pathname.replace(/\/passkey\.js$/, ""); // of a station of several, else nothing
  const packed = bytes => btoa(String.fromCharCode(...new Uint8Array(bytes))).replace(/\+/g, "-").replace(/\//g, "_").replace(/=/g, "");
  const bytes = text => Uint8Array.from(atob(text.replace(/-/g, "+").replace(/_/g, "/")), c => c.charCodeAt(0));
  async function ask(kind) {
    const asked = await (await fetch(base + "/passkey/challenge", { method: "POST" })).json();
    const challenge = bytes(asked.challenge);
    if (kind === "get") return navigator.credentials.get({ publicKey: { challenge, rpId: asked.host, userVerification: "required" } });
    return navigator.credentials.create({ publicKey: { challenge, rp: { id: asked.host, name: "leat" },
      user: { id: bytes(asked.user), name: asked.name, displayName: asked.name },
      pubKeyCredParams: [-7, -8, -257].map(alg => ({ type: "public-key", alg })),
      authenticatorSelection: { residentKey: "required", userVerification: "required" }, attestation: "none" } });
  }
  function fill(form, name, value) {
    const field = document.createElement("input");
    field.type = "hidden"; field.name = name; field.value = value;
    form.append(field);
  }
  for (const form of document.querySelectorAll("form[data-passkey]")) {
    if (!window.PublicKeyCredential) continue;
    form.hidden = false;
    form.addEventListener("submit", async function (e) {
      e.preventDefault();
      const said = form.querySelector("[data-said]");
      try {
        const got = await ask(form.dataset.passkey), word = got.response;
        fill(form, "id", got.id);
        fill(form, "client", packed(word.clientDataJSON));
        fill(form, "device", packed(word.authenticatorData || word.getAuthenticatorData()));
        if (word.signature) fill(form, "signature", packed(word.signature));
        else fill(form, "key", packed(word.getPublicKey()));
        form.submit();
      } catch (problem) { said.textContent = form.dataset.sayNone + " " + problem.message; }
    });
  }
})();
