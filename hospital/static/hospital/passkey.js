// Passkeys: asks the device and puts its answer into the form, which the server reads like any other. Without this script the
// form stays hidden and the other ways of signing in are there. Runs under a strict Content-Security-Policy.
(() => {
  "use strict";
  const form = document.querySelector("form[data-passkey]");
  const options = document.getElementById("passkey-options");
  if (!form || !options || !window.PublicKeyCredential) return;
  const asked = () => JSON.parse(options.textContent);
  const isNew = form.dataset.passkey === "add";
  form.hidden = false;
  document.querySelector("[data-no-passkeys]")?.remove();

  const bytes = (text) => Uint8Array.from(atob(text.replace(/-/g, "+").replace(/_/g, "/")), (c) => c.charCodeAt(0));
  const text = (buffer) => buffer && btoa(String.fromCharCode(...new Uint8Array(buffer))).replace(/\+/g, "-").replace(/\//g, "_").replace(/=+$/, "");

  // JSON carries bytes as base64url (WebAuthn, 5.1.8); older browsers cannot read it by themselves.
  function readable(wanted) {
    wanted.challenge = bytes(wanted.challenge);
    if (wanted.user) wanted.user.id = bytes(wanted.user.id);
    for (const list of ["excludeCredentials", "allowCredentials"]) {
      wanted[list] = (wanted[list] || []).map((each) => ({ ...each, id: bytes(each.id) }));
    }
    return wanted;
  }

  function told(credential) {
    const response = {};
    for (const name of ["clientDataJSON", "attestationObject", "authenticatorData", "signature", "userHandle"]) {
      if (credential.response[name]) response[name] = text(credential.response[name]);
    }
    return JSON.stringify({ id: credential.id, rawId: text(credential.rawId), type: credential.type, response, clientExtensionResults: {} });
  }

  let waiting = null; // what the browser offers in the list below the address, until the button is pressed
  async function ask(more) {
    const publicKey = readable(asked());
    const credential = isNew ? await navigator.credentials.create({ publicKey }) : await navigator.credentials.get({ publicKey, ...more });
    form.querySelector("[data-answer]").value = told(credential);
    form.submit();
  }

  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const failed = form.querySelector("[data-failed]");
    failed.hidden = true;
    waiting?.abort();
    ask({}).catch(() => { failed.hidden = false; });
  });

  if (!isNew && PublicKeyCredential.isConditionalMediationAvailable) {
    PublicKeyCredential.isConditionalMediationAvailable().then((can) => {
      if (!can) return;
      waiting = new AbortController();
      ask({ mediation: "conditional", signal: waiting.signal }).catch(() => {});
    });
  }
})();
