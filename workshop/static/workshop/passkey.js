// Makes passkeys and signs in with them: asks the site what to ask the device, and sends back what it says.
"use strict";

const toBytes = (text) =>
  Uint8Array.from(atob(text.replace(/-/g, "+").replace(/_/g, "/")), (sign) => sign.charCodeAt(0));
const toText = (bytes) =>
  btoa(String.fromCharCode(...new Uint8Array(bytes))).replace(/\+/g, "-").replace(/\//g, "_").replace(/=+$/, "");

function asked(options) {
  const read = { ...options, challenge: toBytes(options.challenge) };
  if (options.user) read.user = { ...options.user, id: toBytes(options.user.id) };
  for (const list of ["excludeCredentials", "allowCredentials"]) {
    if (options[list]) read[list] = options[list].map((each) => ({ ...each, id: toBytes(each.id) }));
  }
  return read;
}

function answered(credential) {
  const response = {};
  for (const name of ["clientDataJSON", "attestationObject", "authenticatorData", "signature", "userHandle"]) {
    if (credential.response[name]) response[name] = toText(credential.response[name]);
  }
  return { id: credential.id, rawId: toText(credential.rawId), type: credential.type, response };
}

async function postJson(address, form, body) {
  const answer = await fetch(address, {
    method: "POST",
    headers: {
      "Content-Type": "application/json",
      "X-CSRFToken": form.elements.csrfmiddlewaretoken.value,
    },
    body: JSON.stringify(body),
  });
  const said = await answer.json();
  if (!answer.ok) throw new Error(said.problem || worded(form, "failed"));
  return said;
}

function showCodes(form, codes, go) {
  const list = document.createElement("ul");
  for (const code of codes) {
    const row = document.createElement("li");
    row.append(Object.assign(document.createElement("code"), { textContent: code }));
    list.append(row);
  }
  const done = Object.assign(document.createElement("a"), {
    href: go,
    className: "button button-primary",
    textContent: worded(form, "have-codes"),
  });
  const told = Object.assign(document.createElement("p"), {
    textContent: worded(form, "codes"),
  });
  form.replaceChildren(told, list, done);
  done.focus();
}

function usePasskeys(form) {
  const status = form.querySelector("[role=status]");
  form.hidden = false;
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    status.textContent = "";
    try {
      const options = asked(await postJson(form.dataset.ask, form, {}));
      const makes = form.dataset.passkey === "make";
      const credential = makes
        ? await navigator.credentials.create({ publicKey: options })
        : await navigator.credentials.get({ publicKey: options });
      const answer = answered(credential);
      const body = makes ? { name: form.elements.name.value, made: answer } : answer;
      const said = await postJson(form.action, form, body);
      if (said.codes && said.codes.length) showCodes(form, said.codes, said.go);
      else window.location.assign(said.go);
    } catch (problem) {
      status.textContent = problem.name === "NotAllowedError" ? worded(form, "refused") : problem.message;
    }
    form.querySelectorAll("button").forEach((button) => {
      button.disabled = false;
    });
  });
}

if (window.PublicKeyCredential && window.isSecureContext) {
  document.querySelectorAll("form[data-passkey]").forEach(usePasskeys);
}
