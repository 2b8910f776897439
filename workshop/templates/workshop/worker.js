// Keeps the pages that are wanted where there is no network, and what they are drawn with.
"use strict";

const KEPT = "kept-pages";
// What it says, in the language of whoever the script was served to.
const SAYS = {{ says|safe }};
// Run sheets, the list of what to buy, "do I own this?" in the shop, and the handbook.
const PAGES = [/\/jobs\/\d+\/run\/$/, /\/buying\/$/, /\/shelf\/pocket\/$/, /\/handbook\/([\w-]+\/)?$/];
const LISTS = [/\/shelf\/pocket\/shades$/, /\/handbook\/words$/];
const DRAWN_WITH = [/\.(css|js|svg|png|webmanifest)$/];

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

function isOne(of, request) {
  const { origin, pathname } = new URL(request.url);
  return request.method === "GET" && origin === self.location.origin && of.some((each) => each.test(pathname));
}

async function keep(request, answer) {
  const headers = new Headers(answer.headers);
  headers.set("x-kept-at", String(Date.now()));
  headers.delete("content-encoding");
  headers.delete("content-length");
  const pages = await caches.open(KEPT);
  await pages.put(request.url, new Response(await answer.blob(), { headers }));
}

function filled(words, fields) {
  return words.replace(/\{(\w+)\}/g, (whole, field) => (field in fields ? fields[field] : whole));
}

function saidOf(ms) {
  const minutes = Math.round(ms / 60000);
  if (minutes < 1) return SAYS.now;
  if (minutes < 90) return filled(SAYS.minutes, { count: minutes });
  if (minutes < 48 * 60) return filled(SAYS.hours, { count: Math.round(minutes / 60) });
  return filled(SAYS.days, { count: Math.round(minutes / 1440) });
}

// The page as it was kept, which says so at its head and how old it is.
async function aged(known) {
  const at = Number(known.headers.get("x-kept-at"));
  const form = { day: "numeric", month: "short", year: "numeric", hour: "2-digit", minute: "2-digit", hourCycle: "h23" };
  const when = new Date(at).toLocaleString(SAYS.lang, form);
  const words = filled(SAYS.stood, { when, ago: saidOf(Date.now() - at) });
  const page = (await known.text()).replace(
    /<main[^>]*>/,
    (main) => `${main}<p class="kept-since" role="status">${words}</p>`,
  );
  return new Response(page, { headers: known.headers });
}

// What the pages that are kept are drawn with, so that the word of no network looks like them.
async function looks() {
  const styles = (await (await caches.open(KEPT)).keys()).filter((each) => each.url.endsWith(".css"));
  return styles.map((each) => `<link rel="stylesheet" href="${new URL(each.url).pathname}">`).join("");
}

async function keptPages() {
  const pages = await caches.open(KEPT);
  const found = [];
  for (const request of await pages.keys()) {
    if (!isOne(PAGES, request)) continue;
    const title = /<title>([^<]*)</.exec(await (await pages.match(request)).text());
    found.push(`<li><a href="${new URL(request.url).pathname}">${title ? title[1].replace(" · Enough Thread", "") : request.url}</a></li>`);
  }
  return found;
}

async function noNetwork() {
  const found = await keptPages();
  const kept = found.length
    ? `<p>${SAYS.keeps}</p><ul>${found.join("")}</ul>`
    : `<p>${SAYS.keepsNothing}</p>`;
  return new Response(
    `<!doctype html><html lang="${SAYS.lang}" data-theme="auto"><head><meta charset="utf-8"><title>${SAYS.noNetwork} · Enough Thread</title>
    <meta name="viewport" content="width=device-width, initial-scale=1"><meta name="color-scheme" content="light dark">
    ${await looks()}</head><body><main id="content"><div class="narrow flow"><h1>${SAYS.noNetwork}</h1><p>${SAYS.asked}</p>
    ${kept}</div></main></body></html>`,
    { status: 503, headers: { "Content-Type": "text/html; charset=utf-8" } },
  );
}

async function freshOrKept(event, { isPage }) {
  const { request } = event;
  try {
    const answer = await fetch(request);
    if (answer.ok && !answer.redirected) event.waitUntil(keep(request, answer.clone()));
    return answer;
  } catch (problem) {
    // A page that looks for news is told that there is none; a kept sheet would pass for a new one.
    const looksForNews = isPage && request.mode !== "navigate";
    const known = looksForNews ? undefined : await (await caches.open(KEPT)).match(request.url);
    if (known) return isPage ? aged(known) : known;
    if (request.mode === "navigate") return noNetwork();
    throw problem;
  }
}

self.addEventListener("fetch", (event) => {
  const { request } = event;
  if (isOne(PAGES, request)) event.respondWith(freshOrKept(event, { isPage: true }));
  else if (isOne([...LISTS, ...DRAWN_WITH], request)) event.respondWith(freshOrKept(event, { isPage: false }));
  else if (request.method === "GET" && request.mode === "navigate") {
    event.respondWith(fetch(request).catch(noNetwork));
  }
});
