// The daily report: its key is made here, so that sending twice stores once; kept on the device until the hospital has it,
// and answered here while there is no signal; buttons that fill in a number. The page works without it.
(() => {
  "use strict";
  const form = document.querySelector("form[data-report]");
  if (!form) return;
  const field = (name) => form.elements.namedItem(name);

  function newKey() {
    if (window.isSecureContext && crypto.randomUUID) return crypto.randomUUID();
    const bytes = crypto.getRandomValues(new Uint8Array(16));
    bytes[6] = (bytes[6] & 0x0f) | 0x40; // RFC 9562: version 4
    bytes[8] = (bytes[8] & 0x3f) | 0x80;
    const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
    return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
  }

  // A form that comes back with mistakes keeps its key and its moment; so does one that is sent twice.
  let isStamped = "sent" in form.dataset;
  if (!isStamped) field("key").value = newKey();
  form.addEventListener("submit", (event) => {
    const now = new Date().toISOString();
    if (!isStamped) field("made_at").value = now;
    field("sent_at").value = now;
    isStamped = true;
    if (!document.body.dataset.person || !self.Outbox) return;
    event.preventDefault();
    if (form.getAttribute("aria-busy") === "true") return;
    form.setAttribute("aria-busy", "true");
    keepThenSend().then((isLeaving) => { if (!isLeaving) form.removeAttribute("aria-busy"); });
  });

  // ---- first into this phone's own store, then to the hospital
  const WAIT_MS = 8000;
  const PHOTO_SIDE_PX = 1600;
  let replaces = "";

  // Whether the page is being left.
  async function keepThenSend() {
    countsForToday();
    let row;
    try {
      row = await written();
      const before = await Outbox.get(row.key);
      if (!before) await Outbox.add(row, replaces);
      else if (words(before) !== words(row)) return sendAsPage(); // the hospital says what is stored, and offers a correction
    } catch { return sendAsPage(); }
    const late = new Promise((resolve) => { setTimeout(resolve, WAIT_MS, "unreachable"); });
    const here = await Promise.race([Outbox.flush(), late]).catch(() => "unreachable");
    const now = await Outbox.get(row.key);
    if (now && now.state === "stored") {
      location.assign(row.answer_address);
      return true;
    }
    // Nothing was stored: the page comes back with the mistakes at their boxes, and only then is the row let go.
    if (now && now.state === "refused" && now.sentences.length && here.csrf) return sendAsPage();
    if (self.ServiceWorkerRegistration && "sync" in ServiceWorkerRegistration.prototype) {
      navigator.serviceWorker.ready.then((worker) => worker.sync.register("outbox")).catch(() => {});
    }
    await showKeptAnswer(row);
    return false;
  }
  const words = (row) => JSON.stringify(row.fields.filter(([name]) => name !== "sent_at"));

  // As without script; only where the hospital answers, so that no error page takes the place of what was typed.
  async function sendAsPage() {
    const here = await Outbox.hello();
    if (!here || !here.csrf) {
      const bar = document.getElementById("signal");
      bar.hidden = false;
      bar.classList.add("alert");
      bar.querySelector("[data-words]").textContent = bar.dataset.notKept;
      bar.scrollIntoView({ block: "center" });
      return false;
    }
    form.elements.namedItem("csrfmiddlewaretoken").value = here.csrf;
    form.submit();
    return true;
  }
  if ("sent" in form.dataset && self.Outbox && document.body.dataset.person) {
    Outbox.get(field("key").value).then((row) => { if (row && row.state === "refused") Outbox.remove(row.key); }).catch(() => {});
  }

  // A page that was kept for an earlier day, opened without signal: what is written on it is about the day that it is now.
  function countsForToday() {
    const { zone, isForToday } = form.dataset;
    if (isForToday === undefined || document.documentElement.dataset.signal !== "unreachable") return;
    const day = new Intl.DateTimeFormat("en-CA", { timeZone: zone }).format(new Date());
    if (day > field("on").value) field("on").value = day;
  }

  // A page that is not for the day that it is now says in its heading which day it is for.
  const heading = document.querySelector("[data-day-heading]");
  const dayNow = new Intl.DateTimeFormat("en-CA", { timeZone: form.dataset.zone }).format(new Date());
  if (heading && field("on").value < dayNow) heading.textContent = heading.dataset.else;

  async function written() {
    const all = [...new FormData(form)].filter(([name]) => name !== "csrfmiddlewaretoken");
    const fields = all.filter(([, value]) => typeof value === "string");
    const file = field("photo")?.files?.[0];
    const { animal, answerAddress, photoAddress, forOffline } = form.dataset;
    const key = field("key").value;
    const withKey = (address) => address.replace(form.dataset.noKey, key);
    return {
      key, fields, animal, person: document.body.dataset.person, address: form.getAttribute("action"), page: forOffline,
      answer_address: withKey(answerAddress), photo_address: withKey(photoAddress), made_at: field("made_at").value,
      on: field("on").value, photo: file ? await smaller(file) : (await earlierPhoto()), words: inWords(), reported: reported(),
    };
  }

  const earlierPhoto = async () => (replaces ? (await Outbox.get(replaces))?.photo ?? null : null);

  // What is said, as label and words, to read on this phone and to tell by telephone.
  function inWords() {
    const said = [];
    form.querySelectorAll("input:checked, input[type=text], textarea").forEach((box) => {
      const value = box.matches(":checked") ? box.closest("label")?.innerText : box.value;
      if (!value || !value.trim()) return;
      const group = box.closest("fieldset")?.querySelector("legend")?.innerText;
      const label = box.matches(":checked") ? group : document.querySelector(`label[for="${box.id}"]`)?.firstChild.textContent;
      said.push([(label || "").trim(), value.trim()]);
    });
    return said;
  }

  async function smaller(file) {
    try {
      const image = await createImageBitmap(file, { imageOrientation: "from-image" });
      const scale = Math.min(1, PHOTO_SIDE_PX / Math.max(image.width, image.height));
      const canvas = document.createElement("canvas");
      canvas.width = Math.round(image.width * scale);
      canvas.height = Math.round(image.height * scale);
      canvas.getContext("2d").drawImage(image, 0, 0, canvas.width, canvas.height);
      return await new Promise((resolve, reject) => { canvas.toBlob((blob) => (blob ? resolve(blob) : reject(blob)), "image/jpeg", 0.82); });
    } catch {
      return new Blob([await file.arrayBuffer()], { type: file.type }); // not for this browser to read: the hospital judges it
    }
  }

  // ---- the answer of this phone, by the hospital's rules, until the hospital's own one arrives
  function numberIn(name) {
    const text = (field(name)?.value || "").replace(/\s/g, "").replace(/g$/, "").replace(",", ".");
    return /^\d+(\.\d+)?$/.test(text) ? Number(text) : null;
  }
  const chosen = (name) => form.querySelector(`[name="${name}"]:checked`)?.value || "";
  const ticked = (name) => [...form.querySelectorAll(`[name="${name}"]:checked`)].map((box) => box.value);
  function reported() {
    const minutes = numberIn("water_minutes");
    return {
      water_minutes: Number.isInteger(minutes) ? minutes : null, weight_g: numberIn("weight_g"), eaten: chosen("eaten"),
      droppings: chosen("droppings"), bandage: chosen("bandage"), activity: chosen("activity"), signs: ticked("signs"),
      happened: ticked("happened"), not_taken: form.querySelectorAll('[name^="dose_"][value="refused"]:checked').length,
    };
  }
  // What the hospital has not counted in yet: this day's other reports that wait here, or went since this page was made.
  async function withWaiting(hints, row) {
    const since = document.body.dataset.madeAt;
    const others = (await Outbox.all()).filter((each) => each.key !== row.key && each.person === row.person && each.address === row.address
      && each.on === row.on && each.reported && each.state !== "refused" && (each.state !== "stored" || each.stored_at > since));
    const { so_far } = hints;
    others.forEach(({ reported: said }) => {
      if (said.water_minutes !== null) so_far.minutes = (so_far.minutes ?? 0) + said.water_minutes;
      so_far.signs.push(...said.signs, ...[hints.sign_of_bandage[said.bandage], hints.sign_of_activity[said.activity]].filter(Boolean));
      so_far.has_blood ||= said.droppings === "bloody";
      so_far.not_taken += said.not_taken;
      if (["all", "some"].includes(said.eaten)) hints.unfed.hours = null;
    });
    return hints;
  }
  async function showKeptAnswer(row) {
    const template = document.getElementById("kept-answer");
    const told = document.getElementById("answer-hints");
    const unknown = { answer: "unknown", phone: "", reasons: [] };
    const answer = told ? self.answerReport(await withWaiting(JSON.parse(told.textContent), row), reported()) : unknown;
    const shown = template.content.cloneNode(true);
    const box = shown.querySelector("[data-answer]");
    const style = answer.phone === "today" ? "today" : answer.answer;
    box.classList.add({ phone_now: "phone", stay: "keep", today: "keep", fine: "fine", unknown: "keep" }[style]);
    box.querySelectorAll("[data-for]").forEach((part) => { part.hidden = part.dataset.for !== style; });
    const list = box.querySelector("ul");
    list.replaceChildren(...answer.reasons.map((words) => Object.assign(document.createElement("li"), { textContent: words })));
    list.hidden = answer.reasons.length === 0;
    shown.querySelectorAll("[data-phone]").forEach((part) => { part.hidden = part.dataset.phone !== answer.phone; });
    shown.querySelectorAll("[data-when]").forEach((part) => { part.hidden = !reported().happened.includes(part.dataset.when); });
    const forThumb = [...shown.querySelectorAll(`[data-thumb="${answer.phone}"] > *`)];
    shown.querySelectorAll("[data-thumb]").forEach((part) => part.remove());
    document.querySelector("#main .content").replaceChildren(shown);
    document.querySelector(".thumb-bar .wrap").replaceChildren(...forThumb);
    document.querySelector("#main h1").textContent = template.dataset.heading;
    document.getElementById("main").focus();
    scrollTo(0, 0);
  }

  // ---- a report that the hospital refused, written again: what was said is filled in
  async function writeAgain(key) {
    const row = await Outbox.get(key);
    if (!row || row.person !== document.body.dataset.person || row.state !== "refused") return;
    form.querySelectorAll("input:checked").forEach((box) => { box.checked = false; });
    const kept = ["key", "made_at", "sent_at"];
    const isNext = ([name, value]) => name === "on" && value > field("on").value; // by a clock that ran ahead
    row.fields.filter((said) => !kept.includes(said[0]) && !isNext(said)).forEach(([name, value]) => {
      const box = form.querySelector(`[name="${CSS.escape(name)}"][value="${CSS.escape(value)}"]`);
      if (box && box.matches("[type=radio], [type=checkbox]")) box.checked = true;
      else if (field(name) && !(field(name) instanceof RadioNodeList)) field(name).value = value;
    });
    replaces = key;
  }
  const again = new URLSearchParams(location.hash.slice(1)).get("again");
  if (again && self.Outbox && document.body.dataset.person) writeAgain(again);

  function fill(id, value) {
    const box = document.getElementById(id);
    if (!box) return;
    box.value = String(value);
    box.dispatchEvent(new Event("input", { bubbles: true }));
  }
  form.querySelectorAll("[data-fill]").forEach((button) => {
    button.hidden = false;
    button.addEventListener("click", () => fill(button.dataset.fill, button.dataset.value));
  });

  // ---- the usual day: one tap fills what the plan asks for by now, and shows all of it beside the button that sends
  const asked = document.getElementById("usual-day");
  if (asked) {
    const [button, summary] = ["data-usual", "data-usual-said"].map((name) => document.querySelector(`[${name}]`));
    const { water_minutes, doses } = JSON.parse(asked.textContent);
    button.hidden = false;
    button.addEventListener("click", () => {
      if (water_minutes !== null && field("water_minutes") && !field("water_minutes").value) fill("id_water_minutes", water_minutes);
      doses.filter(({ due_at }) => new Date(due_at) <= new Date()).forEach(({ field: name }) => { field(name).value = "given"; });
      summary.replaceChildren(...inWords().map(([label, value]) => Object.assign(document.createElement("li"), { textContent: [label, value].filter(Boolean).join(label.endsWith("?") ? " " : ": ") })));
      summary.hidden = false;
      button.hidden = true;
      document.querySelector(".thumb-bar button:not([type])").focus();
    });
    form.addEventListener("input", () => { // what was shown is not what would be sent any more
      summary.hidden = true;
      button.hidden = false;
    });
  }
})();
