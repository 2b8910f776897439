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
// What the workshop refused, kept until a person says what becomes of it.
const refusals = `${shelf}-refused`;

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

function refused() {
  try {
    return JSON.parse(localStorage.getItem(refusals)) || [];
  } catch {
    return [];
  }
}

function keepRefused(events) {
  localStorage.setItem(refusals, JSON.stringify(events));
}

function noted(words) {
  const line = run.querySelector("[data-noted]");
  if (line) line.textContent = words;
}

function choice(words, act) {
  const button = document.createElement("button");
  button.type = "button";
  button.className = "button button-small";
  button.textContent = words;
  button.addEventListener("click", act);
  return button;
}

// Sends a refused event again, changed as the person answered, or forgets it.
function settle(event, answer) {
  keepRefused(refused().filter((each) => each.key !== event.key));
  if (answer) {
    const { problem, ask, ...again } = event;
    keep([...kept(), { ...again, ...answer }]);
  }
  show();
  send();
  const first = run.querySelector("[data-refused] button") || run.querySelector(".button-tick, summary");
  if (first) first.focus();
}

function showRefused() {
  const list = run.querySelector("[data-refused]");
  if (!list) return;
  const events = refused();
  list.hidden = !events.length;
  list.replaceChildren(
    ...events.map((event) => {
      const item = document.createElement("li");
      const words = document.createElement("p");
      words.textContent = `Not noted${event.words ? `: ${event.words}` : ""}. ${event.problem}`;
      item.append(words);
      if (event.ask === "again") item.append(choice("It happened again", () => settle(event, { again: true })));
      if (event.ask === "left") {
        item.append(choice("Nothing left", () => settle(event, { left: "nothing" })));
        item.append(choice("A little left", () => settle(event, { left: "little" })));
      }
      if (!event.ask) item.append(choice("Do it again", () => settle(event, {})));
      item.append(choice("Drop it", () => settle(event, null)));
      return item;
    }),
  );
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
  for (const field of run.querySelectorAll(".ticks [name=position], .something [name=position]")) {
    field.value = next ? next.position : "";
  }
  for (const button of run.querySelectorAll(".ticks button")) button.disabled = !next;
  for (const [position, kind] of ticked) {
    const box = run.querySelector(`[data-position="${position}"]`);
    if (box) box.classList.add("ticked", ...(kind === "spoiled" ? ["spoiled"] : []));
  }
  const many = waiting.length === 1 ? "1 entry waits" : `${waiting.length} entries wait`;
  tell(waiting.length ? `${many} on this device for the network. Go on: nothing is lost.` : "");
  showRefused();
}

async function send() {
  const waiting = kept();
  if (sending || !waiting.length) return;
  sending = true;
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
    const problems = new Map(events.filter((event) => event.problem).map((event) => [event.key, event]));
    const mine = kept().filter((event) => answered.has(event.key));
    // Kept among the refused before it leaves the list of what waits: it is never in neither.
    const told = mine.filter((event) => problems.has(event.key));
    keepRefused([...refused(), ...told.map((event) => ({ ...event, ...problems.get(event.key) }))]);
    arrived.push(...mine);
    keep(kept().filter((event) => !answered.has(event.key)));
    arrived = arrived.filter((event) => !problems.has(event.key));
    const done = mine.filter((event) => !problems.has(event.key));
    if (done.length) noted(`Noted: ${done.map((event) => event.words || event.kind).join("; ")}.`);
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
  else if (kept().length && !trouble) send();
}

// Puts the sheet as the workshop has it now in place of this one; without a network this one stays.
async function renew() {
  if (kept().length) return;
  const answer = await fetch(location.href, { redirect: "error", cache: "no-store" });
  if (!answer.ok) return;
  const fresh = new DOMParser().parseFromString(await answer.text(), "text/html").getElementById("run");
  if (!fresh || kept().length) return;
  const focus = focused();
  const line = run.querySelector("[data-noted]");
  const words = line ? line.textContent : "";
  run.replaceWith(fresh);
  adopt(fresh);
  arrived = [];
  noted(words);
  show();
  refocus(focus);
}

// Where the focus is, told so that it is found again on a sheet that has been drawn anew.
function focused() {
  const at = document.activeElement;
  if (!at || !run.contains(at)) return null;
  const form = at.closest("form");
  const open = at.closest("details.something[open]") !== null;
  return { inTicks: at.closest(".ticks") !== null, open, form: form ? form.action : "" };
}

function refocus(focus) {
  if (!focus) return;
  const next = focus.inTicks ? ".button-tick" : "[data-focus=something]";
  const found = run.querySelector(next) || run.querySelector("[data-focus=something]") || run.querySelector("a, button");
  if (found) found.focus();
}

// Looks whether another device has noted something, and draws the sheet anew if it has.
async function look() {
  if (kept().length) {
    send();
    return;
  }
  if (document.hidden || sending || run.querySelector("details[open] :focus")) return;
  const answer = await fetch(run.dataset.state, { redirect: "error", cache: "no-store" });
  if (!answer.ok) return;
  const { last } = await answer.json();
  if (String(last) !== run.dataset.last || arrived.length) await renew();
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
  const button = event.submitter;
  // The time of the tap, not that of the network's return.
  const happening = { key: freshKey(), tapped_at: Date.now() };
  if (button) happening.words = button.textContent.replace(/\s+/g, " ").trim();
  for (const name of ["kind", "position", "thread", "label", "share", "left", "gross", "showing", "note", "instead_of"]) {
    if (fields.get(name)) happening[name] = fields.get(name);
  }
  if (!happening.position) {
    const next = nextOf([...arrived, ...kept()].filter(isTick));
    if (next) happening.position = next.position;
  }
  if (happening.kind === "spool") putOn(happening);
  keep([...kept(), happening]);
  noted(`${happening.words || happening.kind}: being noted.`);
  const sheet = form.closest("details.something");
  if (sheet) {
    sheet.open = false;
    sheet.querySelector("summary").focus();
  }
  show();
  send();
});

show();
send();
window.addEventListener("online", send);
setInterval(() => look().catch(() => undefined), 5000);

if ("serviceWorker" in navigator && window.isSecureContext) {
  const drawnWith = [...document.querySelectorAll("link[rel=stylesheet], script[src]")];
  navigator.serviceWorker
    .register(run.dataset.worker)
    .then(() => navigator.serviceWorker.ready)
    // The worker keeps what passes through it; this very sheet came before it was there.
    .then(() => caches.open("run-sheets"))
    .then((sheets) => sheets.addAll([location.href, ...drawnWith.map((each) => each.href || each.src)]))
    .catch((problem) => {
      console.warn("The run sheet cannot be kept for when the network is away:", problem);
    });
}
