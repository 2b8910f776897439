// The handbook is searched where it stands, also without a network: its words come once and are kept with its pages.
"use strict";

const askedWords = document.querySelector("#handbook-q");
const foundPages = document.querySelector("#handbook-found");
let pages = null;

function foldedForSearch(text) {
  return text.normalize("NFKD").toLowerCase().replace(/\p{M}/gu, "").replace(/ß/g, "ss").replace(/[^\p{L}\p{N}_.]+/gu, " ").trim();
}

async function wordsOfPages() {
  pages ??= (await (await fetch(foundPages.dataset.words)).json()).pages;
  return pages;
}

function fitOf(page, words) {
  const begins = (text, word) => ` ${text}`.includes(` ${word}`);
  if (!words.every((word) => begins(page.words, word))) return 0;
  const inTitle = words.filter((word) => begins(page.title_words, word)).length;
  return 1000 * inTitle + words.reduce((sum, word) => sum + ` ${page.words}`.split(` ${word}`).length - 1, 0);
}

async function showPages() {
  const small = new Set(foundPages.dataset.small.split(" "));
  const typed = foldedForSearch(askedWords.value).split(" ").filter(Boolean);
  const telling = typed.filter((word) => !small.has(word));
  const words = telling.length ? telling : typed;
  foundPages.replaceChildren();
  if (!words.length) return;
  const fitting = (await wordsOfPages())
    .map((page) => ({ page, fit: fitOf(page, words) }))
    .filter((each) => each.fit)
    .sort((one, other) => other.fit - one.fit);
  const list = document.createElement("ul");
  for (const { page } of fitting) {
    const row = document.createElement("li");
    const link = document.createElement("a");
    link.href = page.address;
    link.textContent = page.title;
    row.append(link);
    list.append(row);
  }
  const counted = document.createElement("h2");
  const { none, one, many } = foundPages.dataset;
  counted.textContent = fitting.length ? (fitting.length === 1 ? one : many.replace("#", fitting.length)) : none;
  foundPages.append(counted, list);
}

askedWords.addEventListener("input", () => showPages().catch((problem) => console.warn("The handbook's words did not come:", problem)));
askedWords.form.addEventListener("submit", (event) => {
  if (navigator.onLine) return; // with a network the workshop answers, with a line of each page
  event.preventDefault();
  showPages();
});
