// The answer to a report by the rules of handover/schedule/answers.py, from the figures that the page carries for its day.
// tests/browser/test_offline.py holds both beside each other on many reports.
self.answerReport = (hints, said) => {
  "use strict";
  const order = hints.because.map((each) => each.why);
  const causes = [];
  const because = (why, values = {}) => causes.push({ why, ...values });

  const happened = { carer_hurt: "carer_hurt", escaped: "escaped", died: "died" };
  said.happened.forEach((name) => { if (happened[name]) because(happened[name]); });

  const told = [hints.sign_of_bandage[said.bandage], hints.sign_of_activity[said.activity]].filter(Boolean);
  const signs = Object.keys(hints.signs).filter((sign) => [...hints.so_far.signs, ...said.signs, ...told].includes(sign));
  const severe = signs.filter((sign) => hints.signs[sign].is_severe);
  const mild = signs.filter((sign) => !hints.signs[sign].is_severe);
  if (severe.length) because("severe_sign", { signs: severe });
  if (mild.length) because("mild_sign", { signs: mild });

  const water = hints.allowance;
  const said_minutes = [hints.so_far.minutes, said.water_minutes].filter((each) => each !== null);
  const used = said_minutes.length ? said_minutes.reduce((sum, each) => sum + each, 0) : null;
  if (water && water.minutes !== null) {
    if (water.minutes === 0 && used) because("water_when_dry", { figure: used, limit: 0 });
    else if (water.is_stopped) because("water_stopped");
    else if (used !== null && used > water.minutes) because("over_allowance", { figure: used, limit: water.minutes });
    else if (used !== null && used < water.enough) because("too_short", { figure: used, limit: water.enough });
  }

  const tenths = said.weight_g === null ? null : Math.round(said.weight_g * 10);
  if (tenths !== null && hints.weight) {
    const { low, high, now, today, last_g } = hints.weight;
    const lost = (of) => Math.round((of - tenths) * 1000 / of) / 10;
    if (!(low < tenths && tenths < high)) because("weight_doubtful", { figure: said.weight_g, limit: last_g });
    else if (tenths <= now.below) because("weight_fell_much", { figure: lost(now.of) });
    else if (tenths <= today.below) because("weight_fell", { figure: lost(today.of) });
  }

  const { hours, today_hours, now_hours } = hints.unfed;
  if (said.eaten === "none" && hours !== null) {
    if (now_hours !== null && hours >= now_hours) because("unfed_long", { figure: hours, limit: now_hours });
    else if (hours >= today_hours) because("unfed", { figure: hours, limit: today_hours });
  }
  if (said.activity === "quiet") because("quieter");
  if (said.droppings === "bloody" || hints.so_far.has_blood) because("blood_in_droppings");
  const not_taken = hints.so_far.not_taken + said.not_taken;
  if (not_taken) because("dose_not_taken", { figure: not_taken });

  causes.sort((a, b) => order.indexOf(a.why) - order.indexOf(b.why));
  const phones = causes.map((cause) => hints.because[order.indexOf(cause.why)].phone);
  const words = (cause) => {
    const found = hints.because[order.indexOf(cause.why)].words;
    const sentence = found[found.length > 1 && cause.figure > 1 ? 1 : 0];
    const seen = (cause.signs || []).map((sign) => hints.signs[sign].words).join(", ");
    return sentence.replace("{figure}", cause.figure).replace("{limit}", cause.limit).replace("{signs}", seen);
  };
  return {
    answer: phones.includes("now") ? "phone_now" : causes.length ? "stay" : "fine",
    phone: phones.includes("now") ? "now" : phones.includes("today") ? "today" : "",
    whys: causes.map((cause) => cause.why),
    reasons: causes.map(words),
  };
};
