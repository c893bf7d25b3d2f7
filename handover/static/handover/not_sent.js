// The list of reports that this device holds and the hospital does not have: read from the device's own store.
(() => {
  "use strict";
  const list = document.getElementById("not-sent");
  const person = document.body.dataset.person;
  if (!list || !self.Outbox || !person) return;
  const pattern = document.getElementById("not-sent-row").content;
  const send = document.getElementById("send-now");

  function asText(row) {
    return [row.animal, row.on, ...row.words.map(([label, value]) => (label ? `${label}: ${value}` : value))].join("\n");
  }
  function card(row) {
    const shown = pattern.cloneNode(true);
    const part = (name) => shown.querySelector(`[data-${name}]`);
    const isRefused = row.state === "refused";
    const needsYou = Outbox.needsYou(row);
    part("animal").textContent = row.animal;
    part("state").textContent = row.photo_refused ? list.dataset.photoRefused : row.state === "stored" ? list.dataset.photo : list.dataset[row.state];
    part("at").textContent = new Date(row.made_at).toLocaleString(document.documentElement.lang, { dateStyle: "full", timeStyle: "short" });
    const sentences = row.photo_refused || (row.refused_as ? [list.dataset[row.refused_as]] : row.sentences);
    part("sentences").append(...sentences.map((words) => Object.assign(document.createElement("li"), { textContent: words })));
    row.words.forEach(([label, value]) => {
      const line = document.createElement("div");
      line.append(Object.assign(document.createElement("dt"), { textContent: label }), Object.assign(document.createElement("dd"), { textContent: value }));
      part("said").append(line);
    });
    part("again").hidden = !isRefused;
    part("drop").hidden = !needsYou;
    part("again").href = `${row.page}#again=${row.key}`;
    const told = part("told");
    part("copy").addEventListener("click", async () => {
      await navigator.clipboard.writeText(asText(row));
      told.textContent = list.dataset.copied;
    });
    part("drop").addEventListener("click", () => { if (confirm(list.dataset.ask)) Outbox.remove(row.key); });
    return shown;
  }
  async function show() {
    const rows = (await Outbox.all()).filter(Outbox.isUnsent);
    const mine = rows.filter((row) => row.person === person);
    list.querySelectorAll("section").forEach((old) => old.remove());
    list.append(...mine.map(card));
    list.querySelector("[data-none]").hidden = mine.length > 0;
    list.querySelector("[data-others]").hidden = rows.length === mine.length;
    send.hidden = mine.length === 0;
  }
  send.addEventListener("click", async () => {
    send.setAttribute("aria-busy", "true");
    await self.sendReports();
    send.removeAttribute("aria-busy");
  });
  Outbox.onChange(show);
  show();
})();
