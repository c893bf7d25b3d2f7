// How long an animal has been in the water and when it must come out. Pure: both clocks are handed in.
// What is kept is the moment of the start, never a running state, so that a locked screen, a reload or a killed page change
// nothing. A clock that somebody sets back must not lengthen the time: what a page has watched by the clock that nobody can
// set counts as well, and the longer of both holds. An animal comes out too early rather than too late.
self.WaterTime = (() => {
  "use strict";
  const MINUTE_MS = 60000;
  const DIFFER_MS = MINUTE_MS;
  const FORGOTTEN_MS = 12 * 60 * MINUTE_MS;

  // run: {started_at, allowed_ms, seen_ms}; now: by the phone's clock; watched_ms: by the steady one since seen_ms was read.
  function read(run, now, watched_ms) {
    const by_clock = now - run.started_at;
    const seen_ms = Math.max(by_clock, run.seen_ms + watched_ms, 0);
    const left_ms = run.allowed_ms - seen_ms;
    const is_forgotten = seen_ms > FORGOTTEN_MS;
    return {
      seen_ms, left_ms, out_at: now + left_ms,
      state: left_ms <= 0 ? "over" : left_ms < MINUTE_MS ? "soon" : "running",
      minutes: is_forgotten ? null : Math.round(seen_ms / MINUTE_MS),
      is_forgotten, is_doubtful: seen_ms - by_clock > DIFFER_MS,
    };
  }

  // Of the minutes that the day allows those that are left after what is stored, waits on this phone or is typed already.
  const left = (allowed, used) => Math.max(0, allowed - used);

  return { MINUTE_MS, read, left };
})();
