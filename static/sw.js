// Keeps the bench pages, and what was tapped on them, through a lost network.
// Pages are fetched anew whenever that is possible; what cannot be sent is kept in the
// order in which it was tapped, and sent in that order once the network is back. Each form
// carries a key, so one that did arrive the first time happens once all the same.
"use strict";
const KEPT = "bench-pages-1", STATIC = "static-1";
const BENCH = /^\/(now|plates|cure|flasks|loads|pours|finishing|pieces|timers|steps)(\/|$)/;
const WAIT_MS = 8000, SHORT_MS = 2000;
// Where tickets lead, as it was told last.
const LEADS = "tickets-1", TICKETS = "/t/open";
// As many pages are kept, and as many of them ahead of being opened, if older than that.
const MOST = 150, AHEAD = 40, FRESH_MS = 5 * 60_000;

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

self.addEventListener("fetch", (event) => {
  const { request } = event, url = new URL(request.url);
  if (url.origin !== location.origin) return;
  if (request.method === "POST" && url.pathname === "/sign-out") {
    event.respondWith((async () => { await forget(); return fetch(request); })());
  } else if (request.method === "POST" && request.mode === "navigate" && BENCH.test(url.pathname)) {
    event.respondWith(send(event));
  } else if (request.method !== "GET") {
    return;
  } else if (url.pathname.startsWith("/static/")) {
    event.respondWith(unchanging(request));
  } else if (request.mode === "navigate" && /^\/t(\/|$)/i.test(url.pathname)) {
    event.respondWith(ticket(request, url));
  } else if (BENCH.test(url.pathname) && (request.headers.get("accept") || "").includes("text/html")) {
    event.respondWith(page(event, url));
  }
});

// What was kept for one person is not for the next.
const forget = async () => { await caches.delete(KEPT); await caches.delete(LEADS); };

// Static files carry a mark that changes with their content.
async function unchanging(request) {
  const cache = await caches.open(STATIC), kept = await cache.match(request);
  if (kept) return kept;
  const answer = await fetch(request);
  if (answer.ok) cache.put(request, answer.clone());
  return answer;
}

// Now and Clocks are the same pages whatever was just done.
const place = (url) => url.origin + url.pathname + (url.pathname === "/now" || url.pathname === "/timers" ? "" : url.search);

async function page(event, url) {
  const cache = await caches.open(KEPT);
  try {
    const answer = await within(fetch(event.request), patience());
    if (is_page(answer)) {
      const keeping = keep(cache, url, answer.clone());
      event.waitUntil(url.pathname === "/now" ? keeping.then(ahead) : keeping);
      event.waitUntil(flush());
    }
    // A program that is just starting again is no reason to lose the page.
    if (answer.status !== 503) return answer;
  } catch { /* no network: what was kept is shown */ }
  // An open page that asks whether it is current keeps what it shows.
  if (event.request.mode !== "navigate") return Response.error();
  const kept = await cache.match(place(url));
  if (!kept) return missing(cache);
  const text = (await kept.text()).replace("<body", `<body data-kept="${kept.headers.get("x-kept")}"`);
  return new Response(text, { headers: kept.headers });
}

const is_page = (answer) => answer.ok && !answer.redirected && (answer.headers.get("content-type") || "").startsWith("text/html");

// Keeps a page with the moment at which it was so; gives its text.
async function keep(cache, url, answer) {
  const headers = new Headers(answer.headers), text = await answer.text();
  headers.set("x-kept", String(Date.now()));
  for (const name of ["content-encoding", "content-length"]) headers.delete(name);
  // What was kept longest ago makes room; a page that is kept anew moves to the end.
  await cache.delete(place(url));
  const old = await cache.keys();
  for (const request of old.slice(0, Math.max(0, old.length - MOST))) await cache.delete(request);
  await cache.put(place(url), new Response(text, { headers }));
  return text;
}

// What Now asks for is kept before anybody has opened it, and where each ticket leads: the
// network may be gone when they are wanted. One after the other, and none twice within minutes.
let walking = false;
async function ahead(text) {
  if (walking || navigator.connection?.saveData) return;
  walking = true;
  try {
    const cache = await caches.open(KEPT);
    const asked = [...text.matchAll(/href="(\/[^"#?]+)/g)].map((found) => found[1]).filter((path) => BENCH.test(path) && path !== "/now");
    for (const path of [...new Set([...asked, "/timers", "/pours", "/finishing"])].slice(0, AHEAD)) {
      const url = new URL(path, location.origin), kept = await cache.match(place(url));
      if (kept && Date.now() - Number(kept.headers.get("x-kept")) < FRESH_MS) continue;
      const answer = await within(fetch(url, { headers: { accept: "text/html" }, credentials: "same-origin" }));
      if (is_page(answer)) await keep(cache, url, answer);
    }
    const tickets = await within(fetch(TICKETS, { headers: { accept: "application/json" }, credentials: "same-origin" }));
    if (tickets.ok && !tickets.redirected) await (await caches.open(LEADS)).put(TICKETS, tickets);
  } catch { /* no network any more: what is kept is kept */ } finally { walking = false; }
}

// Where a ticket leads; without a network as it was told last.
async function ticket(request, url) {
  try {
    const answer = await within(fetch(request), patience());
    if (answer.status !== 503) return answer;
  } catch { /* no network */ }
  const told = await (await caches.open(LEADS)).match(TICKETS), tickets = told ? await told.json() : [];
  const asked = (url.searchParams.get("find") ?? url.pathname.split("/").pop()).trim().split("/").pop().toLowerCase();
  const code = asked.replace(/[- ]/g, "").replaceAll("o", "0").replace(/[il]/g, "1");
  const found = tickets.find((ticket) => ticket.name === asked || ticket.code?.toLowerCase() === code);
  return found ? Response.redirect(found.place, 303) : missing(await caches.open(KEPT), "This ticket was not known on this device before the connection was lost.");
}

// After a line was found to hang, the next page does not wait as long for it.
let lost = 0;
const patience = () => (Date.now() - lost < 20_000 ? SHORT_MS : WAIT_MS);
async function within(answer, wait = WAIT_MS) {
  let waiting;
  try {
    const came = await Promise.race([answer, new Promise((_, late) => { waiting = setTimeout(() => late(new Error("too slow")), wait); })]);
    lost = 0;
    return came;
  } catch (failed) {
    lost = Date.now();
    throw failed;
  } finally { clearTimeout(waiting); }
}

async function missing(cache, why = "This page has not been opened on this device before, so it cannot be shown now.") {
  const plain = (text) => text.replace(/[<>&"]/g, "");
  const pages = await Promise.all((await cache.keys()).map(async (request) => {
    const path = new URL(request.url).pathname, text = await (await cache.match(request)).text();
    return [path, (text.match(/<title>([^<]*?)( · [^<·]*)?<\/title>/)?.[1] || path).trim()];
  }));
  // Now, then the latest, each once.
  const links = [...new Map(pages)].reverse().sort(([one], [other]) => (other === "/now") - (one === "/now")).map(([path, title]) => `<li><a class="button" href="${encodeURI(path)}">${plain(title)}</a></li>`).join("");
  const style = (await (await caches.open(STATIC)).keys()).map((request) => request.url).filter((url) => url.includes("app.css")).pop();
  return new Response(`<!doctype html><html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1"><title>No connection</title>${style ? `<link rel="stylesheet" href="${style}">` : ""}</head><body class="plain"><main class="narrow"><h1>No connection</h1><p class="lead">${why} These pages are kept here:</p><ul class="kept-pages">${links}</ul></main></body></html>`, { status: 503, headers: { "content-type": "text/html; charset=utf-8" } });
}

// The outbox: a table of this browser, in the order of its numbers.
function table(mode, work) {
  return new Promise((done, failed) => {
    const opening = indexedDB.open("outbox", 1);
    opening.onupgradeneeded = () => { opening.result.createObjectStore("forms", { keyPath: "n", autoIncrement: true }); opening.result.createObjectStore("facts"); };
    opening.onerror = () => failed(opening.error);
    opening.onsuccess = () => {
      const db = opening.result, dealing = db.transaction(["forms", "facts"], mode), asked = work(dealing);
      dealing.oncomplete = () => { db.close(); done(asked && asked.result); };
      dealing.onerror = dealing.onabort = () => { db.close(); failed(dealing.error); };
    };
  });
}
const every = () => table("readonly", (t) => t.objectStore("forms").getAll());
const fact = (name) => table("readonly", (t) => t.objectStore("facts").get(name));

const said = new Map();

async function send(event) {
  const { request } = event, body = await request.clone().arrayBuffer();
  await flush();
  const before = (await every()).filter((form) => !form.refused);
  if (before.length === 0) {
    try {
      // A line that hangs is as good as none: the form's key makes sure that it happens once.
      const sent = fetch(request), photo = (request.headers.get("content-type") || "").startsWith("multipart/");
      const answer = await (photo ? sent : within(sent, patience()));
      if (answer.status < 502) {
        // The keys of the page it came from are used up.
        if (request.referrer) await (await caches.open(KEPT)).delete(place(new URL(request.referrer)));
        return answer;
      }
    } catch { /* no network: it is kept */ }
  }
  const type = request.headers.get("content-type") || "application/x-www-form-urlencoded";
  const text = type.startsWith("application/x-www-form-urlencoded") ? new URLSearchParams(new TextDecoder().decode(body)) : new URLSearchParams();
  const once = text.get("once") || "";
  const kept = {
    action: request.url, type, body, once, version: text.get("version") || "", at: Date.now(),
    words: said.get(once) || new URL(request.url).pathname, who: await fact("who"),
  };
  await table("readwrite", (t) => t.objectStore("forms").add(kept));
  await tell();
  return Response.redirect(request.referrer || "/now", 303);
}

let flushing = null;
function flush() {
  flushing ??= sendAll().finally(() => { flushing = null; });
  return flushing;
}

async function sendAll() {
  const who = await fact("who");
  let changed = false;
  for (const form of await every()) {
    if (form.refused || form.who !== who) continue;
    let answer;
    try {
      const sent = fetch(form.action, {
        method: "POST", body: form.body, credentials: "same-origin",
        headers: { "content-type": form.type, "x-tapped-seconds-ago": String(Math.max(0, Math.round((Date.now() - form.at) / 1000))) },
      });
      // A photo takes as long as the line is slow.
      answer = await (form.type.startsWith("multipart/") ? sent : within(sent));
    } catch { break; }
    if (answer.status >= 500) break;
    if (answer.redirected && new URL(answer.url).pathname.startsWith("/sign-in")) break;
    changed = true;
    if (answer.ok) await table("readwrite", (t) => t.objectStore("forms").delete(form.n));
    else {
      const refused = reason(await answer.text());
      await table("readwrite", (t) => t.objectStore("forms").put({ ...form, refused }));
    }
  }
  if (changed) await tell(true);
}

// The sentence with which a form was turned down, as the page shows it.
function reason(html) {
  const found = html.match(/class="error"[^>]*>([^<]+)</) || html.match(/class="lead"[^>]*>([^<]+)</);
  const words = found ? found[1] : "It was turned down.";
  return words.replaceAll("&#39;", "'").replaceAll("&quot;", "\"").replaceAll("&lt;", "<").replaceAll("&gt;", ">").replaceAll("&amp;", "&").trim();
}

async function tell(sent = false) {
  const forms = (await every()).map(({ n, action, once, version, at, words, refused, who }) => ({ n, action, once, version, at, words, refused, who }));
  for (const client of await self.clients.matchAll({ includeUncontrolled: true })) client.postMessage({ outbox: forms, sent });
}

self.addEventListener("message", (event) => {
  const { who, words, once, look, aside } = event.data || {};
  event.waitUntil((async () => {
    if (who) {
      const before = await fact("who");
      if (before && before !== who) await forget();
      await table("readwrite", (t) => t.objectStore("facts").put(who, "who"));
    }
    if (words) said.set(once, words);
    if (aside) await table("readwrite", (t) => t.objectStore("forms").delete(aside));
    if (look) await flush();
    if (look || aside) await tell();
  })());
});
self.addEventListener("sync", (event) => event.waitUntil(flush()));
