// Finds a shade in the list that this device carries, also without a network.
"use strict";

const MOST = 20;
const pocket = document.getElementById("pocket");
const field = document.getElementById("pocket-q");
const said = pocket.dataset;
let shades = [];

function part(name, of = pocket) {
  return of.querySelector(`[data-${name}]`);
}

// A sentence of the page with what it leaves open in braces filled in.
function fill(sentence, values) {
  return sentence.replace(/\{(\w+)\}/g, (_all, name) => values[name]);
}

function plain(text) {
  return text.toLocaleLowerCase().normalize("NFKD").replace(/\p{M}/gu, "");
}

function words(shade) {
  const said = [shade.code, ...(shade.earlier || []), shade.name, shade.range, shade.words || ""];
  return plain(said.join(" ")).split(/[\s·,]+/).filter(Boolean);
}

// Whether two words differ by one letter at the most: left out, put in, another one, or two changed over.
function isNear(one, other) {
  if (Math.abs(one.length - other.length) > 1) return false;
  let at = 0;
  while (at < one.length && one[at] === other[at]) at += 1;
  const [rest, others] = [one.slice(at), other.slice(at)];
  return (
    rest.slice(1) === others.slice(1) ||
    rest === others.slice(1) ||
    rest.slice(1) === others ||
    (rest[0] === others[1] && rest[1] === others[0] && rest.slice(2) === others.slice(2))
  );
}

function holdsAll(asked, fits) {
  return shades.filter((shade) => asked.every((word) => shade.said.some((said) => fits(said, word))));
}

// Owned ones first; a code that is just what was typed before everything.
function found(text) {
  const asked = plain(text).split(/\s+/).filter(Boolean);
  if (!asked.length) return { rows: [], isNear: false };
  let rows = holdsAll(asked, (said, word) => said.startsWith(word));
  const near = !rows.length;
  if (near) rows = holdsAll(asked, (said, word) => word.length > 3 && isNear(said, word));
  const whole = asked.join(" ");
  const rank = (shade) => (plain(shade.code) === whole ? 0 : 2) + (shade.spools ? 0 : 1);
  return { rows: rows.sort((one, other) => rank(one) - rank(other)), isNear: near };
}

function called(shade) {
  return shade.name ? `${shade.name}, ${shade.range} ${shade.code}` : `${shade.range} ${shade.code}`;
}

function keptOf(shade) {
  const kept = fill(shade.spools === 1 ? said.saySpool : said.saySpools, { number: shade.spools, free: shade.free });
  return `${kept} · ${shade.places.join(", ")}`;
}

function row(shade) {
  const item = part("row").content.firstElementChild.cloneNode(true);
  const colour = item.querySelector("rect");
  if (shade.hex) colour.setAttribute("fill", shade.hex);
  else colour.setAttribute("class", "no-colour");
  part("name", item).textContent = shade.name || shade.code;
  part("which", item).textContent = [`${shade.range} ${shade.code}`, shade.words].filter(Boolean).join(" · ");
  const nearest = shades[shade.nearest];
  if (shade.spools) {
    part("answer", item).textContent = said.sayYes;
    part("where", item).textContent = keptOf(shade);
  } else if (nearest) {
    part("answer", item).textContent = fill(said.sayNearest, { shade: called(nearest), seen: shade.seen });
    part("where", item).textContent = keptOf(nearest);
  } else {
    part("answer", item).textContent = said.sayNo;
  }
  return item;
}

function showFound() {
  const { rows, isNear: near } = found(field.value);
  part("found").replaceChildren(...rows.slice(0, MOST).map(row));
  const told = [];
  if (field.value.trim() && !rows.length) told.push(said.sayNone);
  if (near && rows.length) told.push(said.sayNearly);
  if (rows.length > MOST) told.push(fill(said.sayFirst, { most: MOST, all: rows.length }));
  part("told").textContent = told.join(" ");
}

async function begin() {
  const answer = await fetch(pocket.dataset.list);
  if (!answer.ok) throw new Error(String(answer.status));
  const list = await answer.json();
  shades = list.shades.map((shade) => ({ ...shade, said: words(shade) }));
  const form = { day: "numeric", month: "short", year: "numeric", hour: "2-digit", minute: "2-digit", hourCycle: "h23" };
  const at = new Date(list.at).toLocaleString(document.documentElement.lang || [], form);
  const owned = shades.filter((shade) => shade.spools).length;
  part("how-old").textContent = fill(said.sayOwned, { owned, known: shades.length, at });
  field.disabled = false;
  showFound();
}

field.form.addEventListener("submit", (event) => event.preventDefault());
field.addEventListener("input", showFound);
part("no-keeping").hidden = "serviceWorker" in navigator && window.isSecureContext;
begin().catch((problem) => {
  part("how-old").textContent = said.sayNoList;
  console.warn("The list of shades could not be had:", problem);
});
