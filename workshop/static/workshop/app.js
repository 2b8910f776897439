// Makes a file field that lies in a ".drop" take files dropped on it, and says which files it holds.
"use strict";

// What scripts say stands on the page, in the reader's language: in data-say-… of an element, fields in braces.
function worded(element, name, fields = {}) {
  const words = element.getAttribute(`data-say-${name}`) || "";
  return words.replace(/\{(\w+)\}/g, (whole, field) => (field in fields ? fields[field] : whole));
}

const houseWords = document.getElementById("house-words");

function takeDroppedFiles(input) {
  const zone = input.closest(".drop");
  if (!zone || zone.dataset.ready) return;
  zone.dataset.ready = "yes";

  const chosen = document.createElement("p");
  chosen.className = "soft";
  chosen.setAttribute("role", "status");
  zone.append(chosen);

  const hint = document.createElement("p");
  hint.className = "small soft drop-hint";
  hint.textContent = worded(houseWords, input.multiple ? "drop-many" : "drop-one");
  zone.insertBefore(hint, chosen);

  const tell = () => {
    const names = Array.from(input.files, (file) => file.name);
    const told = { count: names.length, names: names.join(", ") };
    chosen.textContent = names.length > 1 ? worded(houseWords, "files", told) : "";
  };
  // Passing over a child leaves the zone and enters it again: only the balance tells whether the pointer is in.
  let inside = 0;
  const mark = (change) => {
    inside = Math.max(0, inside + change);
    zone.classList.toggle("drop-over", inside > 0);
  };

  zone.addEventListener("dragenter", (event) => {
    event.preventDefault();
    mark(1);
  });
  zone.addEventListener("dragleave", () => mark(-1));
  zone.addEventListener("dragover", (event) => event.preventDefault());
  zone.addEventListener("drop", (event) => {
    event.preventDefault();
    mark(-inside);
    const files = event.dataTransfer.files;
    if (!files.length) return;
    if (!input.multiple && files.length > 1) {
      chosen.textContent = worded(houseWords, "takes-one", { count: files.length });
      return;
    }
    input.files = files;
    input.dispatchEvent(new Event("change", { bubbles: true }));
  });
  input.addEventListener("change", tell);
}

function prepare(root) {
  root.querySelectorAll("input[type=file][data-drop]").forEach(takeDroppedFiles);
}

prepare(document);
document.addEventListener("htmx:load", (event) => prepare(event.detail.elt));

// A button whose work takes a while says so once it is pressed, and cannot be pressed again.
document.addEventListener("submit", (event) => {
  const button = event.submitter;
  if (!button || !button.dataset.once) return;
  // After the browser has taken down what was sent: a disabled button would not be part of it.
  setTimeout(() => {
    button.disabled = true;
    button.textContent = button.dataset.once;
    const bar = document.createElement("progress");
    bar.setAttribute("aria-label", button.dataset.once);
    button.after(bar);
  });
});

// A slash leads to the search from wherever nothing is being typed.
document.addEventListener("keydown", (event) => {
  const field = document.getElementById("find");
  const typing = event.target.closest("input, textarea, select, [contenteditable]");
  if (event.key !== "/" || !field || typing || event.ctrlKey || event.metaKey || event.altKey) return;
  event.preventDefault();
  field.focus();
  field.select();
});

// A device keeps the pages that are wanted without a network, as long as somebody is signed in on it.
const EARLIER = "run-sheets";
const PICTURES = "/pictures/";

function inCharge() {
  return new Promise((resolve) => {
    if (navigator.serviceWorker.controller) resolve();
    else navigator.serviceWorker.addEventListener("controllerchange", resolve, { once: true });
  });
}

async function keepThisPage(marked) {
  const { controller } = navigator.serviceWorker;
  const cameFirst = !controller || controller.scriptURL !== new URL(marked.dataset.keep, location.href).href;
  const registered = await navigator.serviceWorker.register(marked.dataset.keep);
  for (const other of await navigator.serviceWorker.getRegistrations()) {
    // That of before, which kept run sheets alone, would go on answering for them.
    if (other.scope !== registered.scope && other.scope.startsWith(registered.scope)) await other.unregister();
  }
  await caches.delete(EARLIER);
  await inCharge();
  // The worker keeps what passes through it; this very page, and what it is drawn with, came before it was there.
  const drawnWith = [...document.querySelectorAll("link[rel=stylesheet], script[src]")];
  const wanted = cameFirst ? [location.href, ...drawnWith.map((each) => each.href || each.src)] : [];
  if (marked.dataset.also) wanted.push(...marked.dataset.also.split(" "));
  for (const each of wanted) await fetch(each, { redirect: "error" });
  if (wanted.some((each) => each.includes(PICTURES))) await forgetPictures(wanted);
}

// Of the handbook's pictures those of the reader's language are kept, as they are now.
async function forgetPictures(wanted) {
  const still = new Set(wanted.map((each) => new URL(each, location.href).href));
  for (const name of await caches.keys()) {
    const kept = await caches.open(name);
    for (const { url } of await kept.keys()) {
      if (url.includes(PICTURES) && !still.has(url)) await kept.delete(url);
    }
  }
}

async function forgetPages() {
  for (const name of await caches.keys()) await caches.delete(name);
}

// A kept page says how old it is; with a network it can be had anew.
window.addEventListener("online", () => {
  const since = document.querySelector(".kept-since");
  if (since) since.textContent = worded(houseWords, "network-again");
});

if (window.isSecureContext && "serviceWorker" in navigator) {
  const marked = document.querySelector("[data-keep]");
  const signedOut = !document.body.classList.contains("has-places");
  const done = signedOut ? forgetPages() : marked ? keepThisPage(marked) : Promise.resolve();
  done.catch((problem) => console.warn("Nothing can be kept for when there is no network:", problem));
}
