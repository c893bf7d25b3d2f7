// A carer's question goes through the phone's own store: kept first, sent when there is signal, stored once by its key.
// Without script, or with nothing to keep it in, the form is sent as it is.
(() => {
  "use strict";
  const form = document.querySelector("form[data-ask]");
  const person = document.body.dataset.person;
  if (!form || !person || !self.Outbox) return;
  const field = (name) => form.elements.namedItem(name);
  const told = form.querySelector("[data-told]");

  form.addEventListener("submit", (event) => {
    if (field("photo").files.length || !field("words").value.trim()) return; // a photograph needs signal; a mistake is the hospital's to tell
    event.preventDefault();
    if (form.getAttribute("aria-busy") === "true") return;
    form.setAttribute("aria-busy", "true");
    keepThenSend().catch(() => form.submit()).finally(() => form.removeAttribute("aria-busy"));
  });

  async function keepThenSend() {
    const key = field("key").value;
    const words = field("words").value;
    const label = form.querySelector(`label[for="${field("words").id}"]`).innerText.trim();
    const { animal, page } = form.dataset;
    const now = new Date().toISOString();
    const row = {
      key, person, animal, page, address: form.getAttribute("action"), made_at: now, on: now.slice(0, 10),
      fields: [["key", key], ["words", words]], photo: null, words: [[label, words]], reported: null,
    };
    if (!(await Outbox.get(key))) await Outbox.add(row);
    await Outbox.flush();
    const kept = await Outbox.get(key);
    if (kept.state === "stored") return location.assign(page);
    if (kept.state === "refused") {
      await Outbox.remove(key);
      return form.submit(); // the page comes back with the mistake at its box
    }
    told.textContent = form.dataset.kept;
    form.querySelector("button").hidden = true;
    return undefined;
  }
})();
