// Keeps ticks while the network is away: each goes into a list on this device with a key of its own, and is sent
// when the network is back. Sent twice it counts once.
"use strict";

let run, data, left;
let sending = false;
// Ticks that the workshop has, while the sheet on show does not say so yet.
let arrived = [];

function adopt(sheet) {
  run = sheet;
  data = JSON.parse(document.getElementById("run-data").textContent);
  left = data.left;
}

adopt(document.getElementById("run"));
const shelf = `run-${run.dataset.job}`;

function kept() {
  try {
    return JSON.parse(localStorage.getItem(shelf)) || [];
  } catch {
    return [];
  }
}

function keep(events) {
  localStorage.setItem(shelf, JSON.stringify(events));
}

function tell(words) {
  const line = run.querySelector("[data-waiting]");
  line.hidden = !words;
  line.querySelector("[data-waiting-words]").textContent = words;
}

function isTick(event) {
  return event.kind === "piece" || event.kind === "spoiled";
}

// The piece that comes next after these ticks: a spoiled one takes a spare more, a spoiled test does not.
function nextOf(ticks) {
  const done = new Set(ticks.map((event) => Number(event.position)));
  const settled = ticks.filter((event) => event.kind === "piece" || Number(event.position) <= data.tests);
  return settled.length < data.wanted ? left.find((row) => !done.has(row.position)) : undefined;
}

// Shows the page as it will be once everything that waits has been sent.
function show() {
  const waiting = kept();
  const ticks = [...arrived, ...waiting].filter(isTick);
  const ticked = new Map(ticks.map((event) => [Number(event.position), event.kind]));
  const next = nextOf(ticks);
  run.querySelector("[data-now]").textContent = next ? `Next: ${next.called}` : "Every piece is done";
  run.querySelector("[data-done]").textContent = data.done + ticked.size;
  const due = run.querySelector("[data-due]");
  if (ticks.length) {
    due.replaceChildren();
    for (const words of next ? next.notes : []) {
      const item = document.createElement("li");
      item.textContent = words;
      due.append(item);
    }
  }
  for (const called of run.querySelectorAll("[data-called]")) called.textContent = next ? next.called : "";
  for (const field of run.querySelectorAll(".ticks [name=position]")) field.value = next ? next.position : "";
  for (const button of run.querySelectorAll(".ticks button")) button.disabled = !next;
  for (const [position, kind] of ticked) {
    const box = run.querySelector(`[data-position="${position}"]`);
    if (box) box.classList.add("ticked", ...(kind === "spoiled" ? ["spoiled"] : []));
  }
  const many = waiting.length === 1 ? "1 entry waits" : `${waiting.length} entries wait`;
  tell(waiting.length ? `${many} on this device for the network. Go on: nothing is lost.` : "");
}

async function send() {
  const waiting = kept();
  if (sending || !waiting.length) return;
  sending = true;
  let refused = [];
  let trouble = "";
  try {
    const answer = await fetch(run.dataset.events, {
      method: "POST",
      headers: { "Content-Type": "application/json", "X-CSRFToken": token() },
      body: JSON.stringify({ events: waiting }),
      redirect: "manual",
    });
    // Only the sign-in page sends anybody elsewhere.
    if (answer.type === "opaqueredirect") throw new Error("401");
    if (!answer.ok) throw new Error(String(answer.status));
    const { events } = await answer.json();
    const answered = new Set(events.map((event) => event.key));
    // What was ticked meanwhile stays in the list.
    arrived.push(...kept().filter((event) => answered.has(event.key)));
    keep(kept().filter((event) => !answered.has(event.key)));
    refused = events.filter((event) => event.problem).map((event) => event.problem);
    await renew();
  } catch (problem) {
    // A status is an answer; anything else is the network, which the line about waiting tells of already.
    trouble = /^\d+$/.test(problem.message)
      ? `The workshop answered ${problem.message}: sign in again, then open this page anew. Nothing is lost.`
      : "away";
  } finally {
    sending = false;
  }
  show();
  if (trouble && trouble !== "away") tell(trouble);
  else if (refused.length) tell(refused.join(" "));
  else if (kept().length && !trouble) send();
}

// Puts the sheet as the workshop has it now in place of this one; without a network this one stays.
async function renew() {
  if (kept().length || !arrived.length) return;
  const answer = await fetch(location.href, { redirect: "error", cache: "no-store" });
  if (!answer.ok) return;
  const fresh = new DOMParser().parseFromString(await answer.text(), "text/html").getElementById("run");
  if (!fresh || kept().length) return;
  const wasTicking = document.activeElement && document.activeElement.closest(".ticks");
  run.replaceWith(fresh);
  adopt(fresh);
  arrived = [];
  const button = fresh.querySelector(".button-tick");
  if (wasTicking && button) button.focus();
}

function token() {
  return run.querySelector("[name=csrfmiddlewaretoken]").value;
}

function freshKey() {
  const bytes = crypto.getRandomValues(new Uint8Array(12));
  return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
}

// The next swap of this thread takes this spool off, also while the network is away.
function putOn(swap) {
  for (const form of run.querySelectorAll("form[data-happens]")) {
    const off = form.elements.instead_of;
    if (off && form.elements.thread.value === swap.thread) off.value = swap.label;
  }
}

document.addEventListener("submit", (event) => {
  const form = event.target;
  if (!run.contains(form) || !("happens" in form.dataset)) return;
  event.preventDefault();
  const fields = new FormData(form, event.submitter);
  const happening = { key: freshKey() };
  for (const name of ["kind", "position", "thread", "label", "share", "ran_out", "instead_of"]) {
    if (fields.get(name)) happening[name] = fields.get(name);
  }
  if (!happening.position) {
    const next = nextOf([...arrived, ...kept()].filter(isTick));
    if (next) happening.position = next.position;
  }
  if (happening.kind === "spool") putOn(happening);
  keep([...kept(), happening]);
  show();
  send();
});

show();
send();
window.addEventListener("online", send);
setInterval(() => (kept().length ? send() : renew().then(show, show)), 5000);

if ("serviceWorker" in navigator && window.isSecureContext) {
  navigator.serviceWorker.register(run.dataset.worker).catch((problem) => {
    console.warn("The run sheet cannot be kept for when the network is away:", problem);
  });
}
