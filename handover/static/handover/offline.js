// On every page of a carer: keeps the pages of the coming days on this device, sends what waits, says honestly what is not
// sent, and asks before a sign-out could hide it. Without script, storage or a service worker everything works online.
(() => {
  "use strict";
  const bar = document.getElementById("signal");
  const person = document.body.dataset.person;
  if (!bar || !person || !self.Outbox) return;
  const KEEP_AGAIN_MS = 5 * 60000;
  const FORGET_DAYS = 14;
  const LITTLE_BYTES = 20 * 1024 * 1024;
  const STALE_MS = 15 * 60000;
  const words = (name) => bar.dataset[name];

  // ---- the bar: not sent yet, needs you, no signal, no room
  const state = { here: null, counts: null, storage: "", madeAt: new Date(document.body.dataset.madeAt) };
  function at(moment) {
    const how = { weekday: "long", day: "numeric", month: "long", hour: "2-digit", minute: "2-digit" };
    return moment.toLocaleString(document.documentElement.lang, how);
  }
  function sentences() {
    const { waiting = 0, refused = 0, others = 0 } = state.counts || {};
    const said = [];
    if (state.here === "unreachable") said.push([words("noSignal").replace("%s", at(state.madeAt)), ""]);
    if (state.here === "unreachable" && Date.now() - state.madeAt > 86400000) said.push([words("old"), "alert"]);
    if (state.here === "signed_out") said.push([words("signedOut"), waiting ? "alert" : ""]);
    if (waiting) said.push([words(waiting === 1 ? "singleWaiting" : "waiting").replace("%s", waiting), "link"]);
    if (state.here === "reached" && state.now - state.madeAt > STALE_MS) said.push([words("stale").replace("%s", at(state.madeAt)), "again"]);
    if (refused) said.push([words(refused === 1 ? "singleRefused" : "refused").replace("%s", refused), "alert link"]);
    if (others) said.push([words("others"), "link"]);
    if (state.storage) said.push([words(state.storage), "alert"]);
    return said;
  }
  function show() {
    const said = sentences();
    const text = said.map(([sentence]) => sentence).join(" ");
    bar.hidden = said.length === 0;
    bar.classList.toggle("alert", said.some(([, how]) => how.includes("alert")));
    bar.querySelector("[data-look]").hidden = !said.some(([, how]) => how.includes("link"));
    bar.querySelector("[data-again]").hidden = !said.some(([, how]) => how.includes("again"));
    const place = bar.querySelector("[data-words]");
    if (place.textContent !== text) place.textContent = text;
  }
  async function count() {
    try { state.counts = await Outbox.counts(person); } catch { state.storage = "noStorage"; }
    show();
  }

  // ---- sending: at once, when signal comes back, when the page is looked at again, and every minute
  let sending = null;
  function send() {
    sending ??= sendAndKeep().finally(() => { sending = null; });
    return sending;
  }
  async function sendAndKeep() {
    try {
      const here = await Outbox.hello();
      state.here = here === null ? "unreachable" : here === "signed_out" ? here : "reached";
      document.documentElement.dataset.signal = state.here;
      if (state.here === "reached") {
        state.now = new Date(here.at);
        if (here.person !== person) { await forgetPages(); return location.reload(); }
        await Outbox.flush(here);
        await count();
        await keepPages(here).catch(() => {}); // signal went in between: what was kept before stays
      }
    } catch { state.storage ||= "noStorage"; }
    return count();
  }
  self.addEventListener("online", send);
  self.addEventListener("offline", () => {
    state.here = document.documentElement.dataset.signal = "unreachable";
    show();
  });
  bar.querySelector("[data-again]").addEventListener("click", () => location.reload());
  document.addEventListener("visibilitychange", () => { if (document.visibilityState === "visible") send(); });
  setInterval(send, 60000);
  Outbox.onChange(count);

  // ---- pages for the hours without signal
  const forgetPages = () => ("caches" in self ? caches.delete("pages") : Promise.resolve());

  async function keepPages(here) {
    if (isLeaving || !("caches" in self) || !("serviceWorker" in navigator)) return;
    const pages = await caches.open("pages");
    const before = await pages.match(Outbox.KEPT_URL);
    const last = before && (await before.json());
    const isFresh = last && last.person === here.person && String(last.pages) === String(here.pages) && new Date(here.at) - new Date(last.at) < KEEP_AGAIN_MS;
    if (isFresh) { document.documentElement.dataset.kept = last.at; return; }
    if (last && last.person !== here.person) await forgetPages();
    for (const address of here.pages) await keepPage(pages, address);
    const wanted = new Set([...here.pages, Outbox.KEPT_URL]);
    for (const request of await pages.keys()) if (!wanted.has(new URL(request.url).pathname)) await pages.delete(request);
    if (isLeaving) return;
    const { csrf: _, ...told } = here; // the token is for now, and not for a shelf
    await pages.put(Outbox.KEPT_URL, new Response(JSON.stringify(told), { headers: { "Content-Type": "application/json" } }));
    document.documentElement.dataset.kept = here.at;
  }
  async function keepPage(pages, address) {
    if (isLeaving) return;
    const answer = await fetch(address, { credentials: "same-origin", redirect: "manual", cache: "no-store", signal: Outbox.atMost(20000) });
    if (answer.ok) await pages.put(address, answer);
  }
  async function forgetOldPages() {
    const about = await caches.match(Outbox.KEPT_URL, { cacheName: "pages" });
    const isOld = about && Date.now() - new Date((await about.json()).at) > FORGET_DAYS * 86400000;
    if (isOld) await forgetPages();
  }

  // ---- is there room, and may it stay?
  async function askForRoom() {
    if (!navigator.storage || !navigator.storage.estimate) return;
    const { quota, usage } = await navigator.storage.estimate();
    if (quota - usage < LITTLE_BYTES) state.storage = "littleRoom";
    if (navigator.storage.persist && !(await navigator.storage.persisted())) await navigator.storage.persist();
  }

  // ---- signing out: nothing that waits may be hidden by it unasked
  let isLeaving = false;
  const dialog = document.getElementById("sign-out-asks");
  document.addEventListener("submit", async (event) => {
    const form = event.target;
    if (!form.matches("[data-sign-out]") || !dialog) return;
    event.preventDefault();
    await count();
    const unsent = state.counts ? state.counts.waiting + state.counts.refused : 0;
    dialog.querySelector("[data-words]").textContent = words(unsent === 1 ? "singleSignOut" : "signOut").replace("%s", unsent);
    dialog.querySelector("[data-go]").onclick = () => signOut(form);
    if (unsent) dialog.showModal();
    else signOut(form);
  });
  async function signOut(form) {
    if (dialog.open) dialog.close();
    isLeaving = true;
    await sending;
    await forgetPages();
    if (await Outbox.hello() === null) {
      state.here = "unreachable";
      state.storage = "signOutLater";
      isLeaving = false;
      return show();
    }
    form.submit();
  }

  async function begin() {
    if ("serviceWorker" in navigator && self.isSecureContext) {
      try { await navigator.serviceWorker.register(document.body.dataset.worker); } catch { /* the pages then need signal */ }
    }
    await count();
    await send();
    try { await askForRoom(); if ("caches" in self) await forgetOldPages(); } catch { /* no room known: nothing to say */ }
    show();
  }
  self.sendReports = send;
  begin();
})();
