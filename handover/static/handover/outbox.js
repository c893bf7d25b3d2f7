// Reports that wait on this device until the hospital has said, by their key, that it holds them. Used by the carer's
// pages and by the service worker. A report is in the device's database before anybody is told that it is kept; nothing
// that is not sent ever expires; sending twice stores once, because the key goes with it.
self.Outbox = (() => {
  "use strict";
  const KEPT_URL = self.KEPT_URL || document.body.dataset.kept; // the worker has no page
  const ANSWER_MS = 30000;
  const PART_BYTES = 64 * 1024;
  const KEEP_SENT_DAYS = 14; // a hospital that restores an older backup can be sent them again

  let opened;
  function open() {
    opened ??= idb.openDB("handover", 1, {
      upgrade(db) { db.createObjectStore("reports", { keyPath: "key" }); },
      terminated() { opened = undefined; }, // a phone closes it while the page sleeps
    });
    opened.catch(() => { opened = undefined; });
    return opened;
  }
  const atMost = (ms) => (AbortSignal.timeout ? AbortSignal.timeout(ms) : undefined); // not in browsers before 2022

  // row: {key, person, address, animal, made_at, about, fields: [[name, value], …], photo: Blob or null, words: […]}
  async function add(row, replaces) {
    const db = await open();
    const change = db.transaction("reports", "readwrite", { durability: "strict" });
    await change.store.add({ ...row, state: "waiting", sentences: [], answer: null, photo_sent: 0 });
    if (replaces) await change.store.delete(replaces);
    await change.done;
    tell();
  }

  async function all() {
    const rows = await (await open()).getAll("reports");
    return rows.sort((a, b) => (a.made_at < b.made_at ? -1 : 1));
  }
  const get = async (key) => (await open()).get("reports", key);
  const isUnsent = (row) => row.state !== "stored" || Boolean(row.photo) || Boolean(row.photo_refused);
  const needsYou = (row) => row.state === "refused" || Boolean(row.photo_refused);

  // How many of this person's reports wait, need a hand, or belong to somebody else who uses this device.
  async function counts(person) {
    const rows = (await all()).filter(isUnsent);
    const mine = rows.filter((row) => row.person === person);
    const refused = mine.filter(needsYou).length;
    return { waiting: mine.length - refused, refused, others: rows.length - mine.length };
  }

  async function put(row) {
    await (await open()).put("reports", row);
    tell();
  }
  async function remove(key) {
    await (await open()).delete("reports", key);
    tell();
  }

  const channel = "BroadcastChannel" in self ? new BroadcastChannel("outbox") : null;
  const listeners = [];
  function tell() {
    listeners.forEach((listener) => listener());
    if (channel) channel.postMessage("changed");
  }
  function onChange(listener) {
    listeners.push(listener);
    if (channel) channel.addEventListener("message", listener);
  }

  // ---- asking the hospital

  async function ask(address, options = {}) {
    const answer = await fetch(address, {
      credentials: "same-origin", redirect: "manual", cache: "no-store", signal: atMost(ANSWER_MS),
      ...options, headers: { Accept: "application/json", ...options.headers },
    });
    const isJson = (answer.headers.get("Content-Type") || "").startsWith("application/json");
    return { status: answer.status, body: isJson ? await answer.json() : null };
  }

  // What the hospital says of this device: who is signed in, the token for sending, the pages to keep.
  // "signed_out" when nobody is; null when it cannot be reached, or when somebody else's page answers in its place.
  async function hello() {
    try {
      const { status, body } = await ask(KEPT_URL);
      if (body && body.person) return body;
      return status === 0 || status === 401 || status === 403 ? "signed_out" : null; // 0: sent on to the sign-in page
    } catch { return null; }
  }

  // Send what waits, in the order in which it was written; one at a time over all tabs and the worker.
  async function flush(known) {
    if (!navigator.locks) return sendAll(known);
    return navigator.locks.request("outbox", () => sendAll(known));
  }

  async function sendAll(known) {
    await forgetOld();
    const waiting = (await all()).filter((row) => row.state === "waiting" || (row.state === "stored" && row.photo));
    const here = known ?? await hello();
    if (!here || here === "signed_out") return here || "unreachable";
    for (const row of waiting.filter((each) => each.person === here.person)) {
      try {
        if (row.state === "waiting") await sendWords(row, here.csrf);
        if (row.state === "stored" && row.photo) await sendPhoto(row, here.csrf);
      } catch { return "unreachable"; }
    }
    return here;
  }

  async function sendWords(row, csrf) {
    const body = new FormData();
    row.fields.forEach(([name, value]) => body.append(name, value));
    if (row.photo) body.set("photo_follows", "on");
    body.set("sent_at", new Date().toISOString());
    const { status, body: told } = await ask(row.address, { method: "POST", body, headers: { "X-CSRFToken": csrf } });
    if (status === 200 && told && told.key === row.key) {
      Object.assign(row, { state: "stored", answer: told, stored_at: new Date().toISOString(), sentences: [] });
      return put(row);
    }
    if ((status === 422 || status === 409) && told && told.key === row.key) {
      Object.assign(row, { state: "refused", sentences: told.errors });
      return put(row);
    }
    if (status === 404 || status === 413) {
      Object.assign(row, { state: "refused", sentences: [], refused_as: String(status) });
      return put(row);
    }
    return null; // a fault of the server: it waits, and the next ones are tried
  }

  async function sendPhoto(row, csrf) {
    const size = row.photo.size;
    while (row.photo) {
      const part = row.photo.slice(row.photo_sent, row.photo_sent + PART_BYTES);
      const address = `${row.photo_address}?from=${row.photo_sent}&of=${size}`;
      const headers = { "X-CSRFToken": csrf, "Content-Type": "application/octet-stream" };
      const { status, body: told } = await ask(address, { method: "POST", body: part, headers });
      if (status === 422 && told) {
        Object.assign(row, { photo: null, photo_refused: told.errors });
      } else if (status === 404) {
        Object.assign(row, { state: "waiting", photo_sent: 0 }); // a hospital that lost its last hours: the words go again
        return put(row);
      } else if (told && told.is_whole) {
        Object.assign(row, { photo: null });
      } else if (told && Number.isInteger(told.have) && told.have !== row.photo_sent) {
        row.photo_sent = told.have;
      } else {
        return;
      }
      await put(row);
    }
  }

  async function forgetOld() {
    const before = new Date(Date.now() - KEEP_SENT_DAYS * 86400000).toISOString();
    for (const row of await all()) if (!isUnsent(row) && row.stored_at < before) await remove(row.key);
  }

  return { KEPT_URL, atMost, needsYou, open, add, all, get, remove, counts, flush, hello, isUnsent, onChange };
})();
