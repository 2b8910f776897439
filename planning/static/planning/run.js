// Keeps ticks while the network is away: each goes into a list on this device with a key of its own, and is sent
// when the network is back. Sent twice it counts once.
"use strict";

let run, data, left;
let sending = false;
// Events that the workshop has noted, while the sheet on show does not say so yet, each with its number there.
let arrived = [];

run = document.getElementById("run");
const shelf = `run-${run.dataset.job}`;
// What the workshop refused, kept until a person says what becomes of it.
const refusals = `${shelf}-refused`;
// What it noted, kept for a sheet from before that is opened again without a network.
const arrivals = `${shelf}-arrived`;

function listed(name) {
  try {
    return JSON.parse(localStorage.getItem(name)) || [];
  } catch {
    return [];
  }
}

function kept() {
  return listed(shelf);
}

function keep(events) {
  localStorage.setItem(shelf, JSON.stringify(events));
}

function refused() {
  return listed(refusals);
}

function keepRefused(events) {
  localStorage.setItem(refusals, JSON.stringify(events));
}

function arrive(events) {
  arrived = events.filter((event) => event.number > Number(run.dataset.last));
  localStorage.setItem(arrivals, JSON.stringify(arrived));
}

function adopt() {
  data = JSON.parse(document.getElementById("run-data").textContent);
  left = data.left;
  arrive(listed(arrivals));
}

adopt();

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

function notNoted(event) {
  const told = { what: event.words, problem: event.problem };
  return worded(run, event.words ? "not-noted-what" : "not-noted", told);
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
      words.textContent = notNoted(event);
      item.append(words);
      if (event.ask === "again") item.append(choice(worded(run, "again"), () => settle(event, { again: true })));
      if (event.ask === "left") {
        item.append(choice(worded(run, "nothing-left"), () => settle(event, { left: "nothing" })));
        item.append(choice(worded(run, "little-left"), () => settle(event, { left: "little" })));
      }
      if (!event.ask) item.append(choice(worded(run, "redo"), () => settle(event, {})));
      item.append(choice(worded(run, "drop"), () => settle(event, null)));
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
  const now = run.querySelector("[data-now]");
  now.textContent = next ? worded(run, "next", { piece: next.called }) : worded(run, "all-done");
  for (const told of run.querySelectorAll("[data-done]")) told.textContent = data.done + ticked.size;
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
  const focus = document.activeElement;
  for (const button of run.querySelectorAll(".ticks button")) button.disabled = !next;
  // A button that is pressed for the last piece must not let the focus fall to the page.
  if (focus && focus.disabled && run.contains(focus)) refocus();
  for (const [position, kind] of ticked) {
    const box = run.querySelector(`[data-position="${position}"]`);
    if (box) box.classList.add("ticked", ...(kind === "spoiled" ? ["spoiled"] : []));
  }
  const many = waiting.length === 1 ? "one-waits" : "many-wait";
  tell(waiting.length ? worded(run, many, { count: waiting.length }) : "");
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
    // What was ticked meanwhile stays in the list.
    const told = new Map(events.map((event) => [event.key, event]));
    const mine = kept().filter((event) => told.has(event.key));
    const refusedNow = mine.filter((event) => told.get(event.key).problem);
    const done = mine.filter((event) => !told.get(event.key).problem);
    // Kept among the refused, or those that arrived, before it leaves the list of what waits: it is never in neither.
    keepRefused([...refused(), ...refusedNow.map((event) => ({ ...event, ...told.get(event.key) }))]);
    arrive([...arrived, ...done.map((event) => ({ ...event, number: told.get(event.key).number }))]);
    keep(kept().filter((event) => !told.has(event.key)));
    if (done.length) noted(worded(run, "noted", { what: done.map((event) => event.words || event.kind).join("; ") }));
    else if (refusedNow.length) noted(refusedNow.map((event) => notNoted({ ...event, ...told.get(event.key) })).join(" "));
    await renew();
  } catch (problem) {
    // A status is an answer; anything else is the network, which the line about waiting tells of already.
    trouble = /^\d+$/.test(problem.message)
      ? worded(run, "answered", { status: problem.message })
      : "away";
  } finally {
    sending = false;
  }
  show();
  if (trouble && trouble !== "away") tell(trouble);
  else if (kept().length && !trouble) send();
}

// Brings this sheet to what the workshop has now; without a network it stays as it is.
async function renew() {
  if (kept().length) return;
  const answer = await fetch(location.href, { redirect: "error", cache: "no-store" });
  if (!answer.ok) return;
  const fresh = new DOMParser().parseFromString(await answer.text(), "text/html").getElementById("run");
  // Two that were asked for at once may come in the wrong order.
  if (!fresh || kept().length || Number(fresh.dataset.last) < Number(run.dataset.last)) return;
  const line = run.querySelector("[data-noted]");
  const words = line ? line.textContent : "";
  const focus = document.activeElement;
  const held = focus && run.contains(focus);
  morph(run, fresh);
  const since = document.querySelector(".kept-since");
  if (since) since.remove();
  adopt();
  noted(words);
  show();
  // What had the focus may be gone, as the last piece's button is: it never falls to the page.
  if (held && (!focus.isConnected || focus.disabled)) refocus();
}

function refocus() {
  const found =
    run.querySelector(".button-tick:enabled") ||
    run.querySelector("[data-focus=something]") ||
    run.querySelector("a, button:enabled");
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
  for (const name of ["kind", "position", "thread", "label", "share", "left", "gross", "showing", "note", "instead_of", "test_verdict", "design", "block", "from_stitch", "to_stitch"]) {
    if (fields.get(name)) happening[name] = fields.get(name);
  }
  if (!happening.position) {
    const next = nextOf([...arrived, ...kept()].filter(isTick));
    if (next) happening.position = next.position;
  }
  if (happening.kind === "spool") putOn(happening);
  keep([...kept(), happening]);
  noted(worded(run, "being-noted", { what: happening.words || happening.kind }));
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
