// The water timer, on every page of a carer: which animals are in the water now, when each must come out, and the alarm. The start
// is kept in this phone's own store; watertime.js does the sums. Without script the times are typed instead.
(() => {
  "use strict";
  const strip = document.getElementById("in-water");
  if (!strip) return;
  const timer = document.querySelector("[data-timer]");
  const PREFIX = `water-${document.body.dataset.person || "staff"}-`;
  const RING_AGAIN_MS = 10000;
  const RING_LONGEST_MS = 15 * WaterTime.MINUTE_MS;
  const KEEP_AGAIN_MS = 5000;

  // ---- what is kept: by case number {on, animal, page, done_minutes, and while it is in the water started_at, allowed_ms, seen_ms}
  const unkept = new Map(); // a private window: it lasts as long as the page
  let canKeep = true;
  function runs() {
    const found = new Map(unkept);
    try {
      Object.keys(localStorage).filter((name) => name.startsWith(PREFIX))
        .forEach((name) => found.set(name.slice(PREFIX.length), JSON.parse(localStorage.getItem(name))));
    } catch { canKeep = false; }
    return found;
  }
  const runOf = (number) => runs().get(number);
  function keep(number, run) {
    try {
      if (run) localStorage.setItem(PREFIX + number, JSON.stringify(run));
      else localStorage.removeItem(PREFIX + number);
    } catch {
      canKeep = false;
      if (run) unkept.set(number, run);
      else unkept.delete(number);
    }
  }

  // ---- reading both clocks
  const watchedFrom = new Map(); // by case number: the steady clock and the time seen when this page first read the run
  function reading(number, run) {
    const steady = performance.now();
    const from = watchedFrom.get(number);
    if (!from || from.started_at !== run.started_at) watchedFrom.set(number, { started_at: run.started_at, steady, seen_ms: run.seen_ms });
    const { steady: since, seen_ms } = watchedFrom.get(number);
    const now = WaterTime.read({ ...run, seen_ms }, Date.now(), steady - since);
    if (now.seen_ms - run.seen_ms > KEEP_AGAIN_MS) keep(number, { ...run, seen_ms: now.seen_ms });
    return now;
  }
  const clockTime = (moment) => new Intl.DateTimeFormat(document.documentElement.lang, { hour: "2-digit", minute: "2-digit", hourCycle: "h23" }).format(moment);

  // ---- the alarm: sound, vibration and a notice, as far as the phone allows each
  let audio = null;
  let rangAt = 0;
  const noticed = new Set();
  function wakeSound() {
    try {
      audio ??= new AudioContext();
      if (audio.state === "suspended") audio.resume();
    } catch { /* no sound here: the words and the vibration stay */ }
  }
  document.addEventListener("pointerdown", wakeSound);
  function beep() {
    if (!audio || audio.state !== "running") return;
    [0, 0.4, 0.8].forEach((after) => {
      const tone = audio.createOscillator();
      tone.frequency.value = 880;
      tone.connect(audio.destination);
      tone.start(audio.currentTime + after);
      tone.stop(audio.currentTime + after + 0.25);
    });
  }
  async function notice(number, run) {
    if (noticed.has(number) || !("Notification" in self) || Notification.permission !== "granted") return;
    noticed.add(number);
    const worker = "serviceWorker" in navigator && await navigator.serviceWorker.getRegistration();
    if (worker) worker.showNotification(strip.dataset.over.replace("%a", run.animal), { tag: PREFIX + number, requireInteraction: true, data: run.page });
  }
  function ring(number, run, now) {
    notice(number, run).catch(() => {});
    if (-now.left_ms > RING_LONGEST_MS || (rangAt && performance.now() - rangAt < RING_AGAIN_MS)) return;
    rangAt = performance.now();
    if (navigator.vibrate) navigator.vibrate([600, 200, 600, 200, 600]);
    beep();
  }

  // ---- the screen stays on while an animal is in the water and this page is looked at
  let lock = null;
  async function stayAwake(isWanted) {
    if (!("wakeLock" in navigator)) return;
    if (!isWanted && lock) { await lock.release().catch(() => {}); lock = null; }
    if (isWanted && document.visibilityState === "visible" && (!lock || lock.released)) {
      lock = await navigator.wakeLock.request("screen").catch(() => null);
    }
  }

  // ---- the other animals that are in the water, on whatever page one is
  const told = new Map();
  function showStrip(readings) {
    const others = readings.filter(([number]) => number !== timer?.dataset.timer);
    const rows = others.map(([, run, now]) => [run.page, (now.state === "over" ? strip.dataset.over : strip.dataset.running)
      .replace("%a", run.animal).replace("%s", clockTime(run.started_at + run.allowed_ms))]);
    const text = JSON.stringify(rows);
    if (told.get("strip") === text) return;
    told.set("strip", text);
    strip.hidden = rows.length === 0;
    strip.classList.toggle("alert", others.some(([, , now]) => now.state === "over"));
    strip.setAttribute("role", "status");
    strip.querySelector("[data-rows]").replaceChildren(...rows.map(([page, words]) => {
      const row = strip.querySelector("template").content.cloneNode(true);
      Object.assign(row.querySelector("a"), { href: page, textContent: words });
      return row;
    }));
  }

  function show() {
    const readings = [...runs()].filter(([, run]) => run.started_at).map(([number, run]) => [number, run, reading(number, run)]);
    showStrip(readings);
    readings.filter(([, , now]) => now.state === "over").forEach((each) => ring(...each));
    stayAwake(readings.length > 0);
    if (timer) showTimer(readings.find(([number]) => number === timer.dataset.timer));
  }

  // ---- this animal's own timer, on its page of the day
  const part = (name) => timer.querySelector(`[data-${name}]`);
  function say(words) {
    if (told.get("say") !== words) part("say").textContent = words;
    told.set("say", words);
  }
  function showTimer(mine) {
    part("start").hidden = Boolean(mine);
    part("stop").hidden = !mine;
    part("awake").hidden = !mine;
    part("notice").hidden = !mine || !("Notification" in self) || Notification.permission !== "default";
    if (!mine) return;
    const [, run, now] = mine;
    const out = clockTime(now.out_at);
    part("clock").textContent = `${Math.floor(now.seen_ms / 60000)}:${String(Math.floor(now.seen_ms / 1000) % 60).padStart(2, "0")}`;
    part("clock").classList.toggle("late", now.state === "over");
    say(part("say").dataset[now.state].replace("%s", out));
    const { keeps, maySleep, notKept } = part("awake").dataset;
    const words = canKeep ? (lock && !lock.released ? keeps : maySleep).replace("%s", out) : notKept;
    if (part("awake").textContent !== words) part("awake").textContent = words;
    if (run.on === timer.dataset.on) lower(run);
  }
  // The hospital may have lowered the day's minutes since the start; it never raises them for a time that runs.
  function lower(run) {
    const allowed_ms = WaterTime.left(Number(timer.dataset.minutes), Math.max(Number(timer.dataset.used), run.before)) * WaterTime.MINUTE_MS;
    if (allowed_ms < run.allowed_ms) keep(timer.dataset.timer, { ...runOf(timer.dataset.timer), allowed_ms });
  }

  const box = () => document.getElementById(timer.dataset.field);
  const typed = () => parseInt(box()?.value, 10) || 0;
  // Minutes of this day in reports that wait on this phone: the hospital has not counted them.
  async function waiting() {
    if (!self.Outbox || !document.body.dataset.person) return 0;
    const rows = await Outbox.all().catch(() => []);
    const since = document.body.dataset.madeAt;
    return rows.filter((row) => row.page === timer.dataset.page && row.on >= timer.dataset.on && row.state !== "refused"
      && (row.state !== "stored" || row.stored_at > since)).reduce((sum, row) => sum + (row.reported?.water_minutes || 0), 0);
  }
  async function start() {
    wakeSound();
    const { minutes, used, on, animal, page, timer: number } = timer.dataset;
    const before = Number(used) + await waiting() + typed();
    const left = WaterTime.left(Number(minutes), before);
    if (left === 0) return say(part("say").dataset.noneLeft);
    noticed.delete(number);
    keep(number, { on, animal, page, before, started_at: Date.now(), allowed_ms: left * WaterTime.MINUTE_MS, seen_ms: 0 });
    await stayAwake(true);
    show();
    part("stop").focus();
  }
  function stop() {
    const number = timer.dataset.timer;
    const run = runOf(number);
    if (!run?.started_at) return show();
    const { minutes, is_doubtful, is_forgotten } = reading(number, run);
    const { on, animal, page } = run;
    const done_minutes = typed() + (minutes || 0);
    keep(number, is_forgotten ? null : { on, animal, page, done_minutes });
    if (!is_forgotten) fill(done_minutes);
    show();
    const words = part("say").dataset;
    say(is_forgotten ? words.forgotten : is_doubtful ? words.doubt : words.stopped.replace("%s", done_minutes));
    part("start").focus();
  }
  function fill(minutes) {
    box().value = String(minutes);
    box().dispatchEvent(new Event("input", { bubbles: true }));
  }

  // The page of a coming day is for that day: its minutes are not there to be used today.
  const isToCome = () => timer.dataset.on > new Intl.DateTimeFormat("en-CA", { timeZone: timer.dataset.zone }).format(new Date());

  if (timer) {
    timer.hidden = isToCome();
    part("start").addEventListener("click", start);
    part("stop").addEventListener("click", stop);
    part("notice").addEventListener("click", async () => { await Notification.requestPermission(); show(); });
    const before = runOf(timer.dataset.timer);
    const isFresh = before && !before.started_at;
    if (isFresh && before.on !== timer.dataset.on) keep(timer.dataset.timer, null);
    // The minutes that were stopped go into the report: they are not filled in again. A time that runs goes on.
    box()?.form.addEventListener("submit", () => { if (!runOf(timer.dataset.timer)?.started_at) keep(timer.dataset.timer, null); });
    if (isFresh && before.on === timer.dataset.on && box() && !box().value && !("sent" in box().form.dataset)) fill(before.done_minutes);
  }
  document.addEventListener("visibilitychange", show);
  self.addEventListener("storage", show);
  show();
  setInterval(show, 1000);
})();
