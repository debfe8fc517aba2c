// My ash: what batches taught of an ash, kept under a name as a record of the season book, and taken for the next
// batch. What it says is worked out by the engine; nothing is concluded here.
//
//   feedcalcAshes.start({ request, use, toast })
//       request()        the request on the page
//       use(ash)         take these parts for the request's ash: { kind, state, earlier }, or { earlier: null }
//       toast(words, action, act)
//   feedcalcAshes.show() list them anew, and tell which one is in use
//
// A batch goes by a kept ash where its `ash.earlier` is how that ash's evidence begins: what the batch itself taught
// is added behind.

"use strict";

const feedcalcAshes = (() => {
  const byId = (id) => document.getElementById(id);
  const book = feedcalcBookKeeping;
  const told = new Map(); // evidence -> markup of what it says
  let page = null;
  let asking = 0;

  const textIn = (record, name) => record.fields[name]?.text ?? "";
  const kept = () => book.all("ash").filter((record) => textIn(record, "removed") !== "yes")
    .sort((one, other) => textIn(other, "date").localeCompare(textIn(one, "date")));

  function evidenceOf(record) {
    try {
      const evidence = JSON.parse(textIn(record, "evidence"));
      return Array.isArray(evidence) && evidence.length ? evidence : null;
    } catch {
      return null;
    }
  }

  /** The kept ash that the request goes by, or undefined. */
  function inUse() {
    const earlier = page.request()?.ash?.earlier;
    if (!earlier?.length) return undefined;
    const begins = JSON.stringify(earlier).slice(0, -1);
    return kept().find((record) => textIn(record, "evidence").startsWith(begins));
  }

  function made(tag, words = "", attributes = {}) {
    const element = document.createElement(tag);
    element.textContent = words;
    for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
    return element;
  }

  function button(words, name, act) {
    const element = made("button", words, { type: "button" });
    element.append(made("span", `: ${name}`, { class: "visually-hidden" }));
    element.addEventListener("click", act);
    return element;
  }

  function show() {
    const all = kept();
    const used = inUse();
    const earlier = page.request()?.ash?.earlier?.length;
    byId("my-ash-used").textContent = used ? `: ${textIn(used, "name")}` : earlier ? feedcalcWords.say(": one that is not kept here") : "";
    byId("my-ash-empty").hidden = Boolean(all.length);
    byId("my-ash-list").replaceChildren(...all.map((record) => lineOf(record, record === used)));
    if (earlier && !used) byId("my-ash-list").prepend(lineOfUnknown());
    if (document.activeElement !== byId("ash-name") && used) byId("ash-name").value = textIn(used, "name");
    if (byId("my-ash").open) tellAll(all);
  }

  function lineOf(record, used) {
    const item = made("li", "", { "data-record": record.id });
    const name = textIn(record, "name");
    const evidence = evidenceOf(record);
    item.append(made("p", `${name}, ${textIn(record, "date")}`));
    if (used) item.append(made("p", feedcalcWords.say("This batch goes by it."), { class: "in-use" }));
    const says = made("div", "", { class: "hint" });
    says.dataset.evidence = record.id;
    if (!evidence) says.textContent = feedcalcWords.say("What was kept of it can't be read.");
    else if (told.has(textIn(record, "evidence"))) put(says, told.get(textIn(record, "evidence")));
    const buttons = made("div", "", { class: "buttons" });
    if (used) buttons.append(button(feedcalcWords.say("Don't go by it"), name, () => page.use({ earlier: null })));
    else if (evidence) buttons.append(button(feedcalcWords.say("Take it for this batch"), name, () => take(evidence)));
    buttons.append(button("Forget", name, () => forget(record)));
    item.append(says, buttons);
    return item;
  }

  function lineOfUnknown() {
    const item = made("li");
    const buttons = made("div", "", { class: "buttons" });
    buttons.append(button(feedcalcWords.say("Don't go by it"), feedcalcWords.say("this ash"), () => page.use({ earlier: null })));
    item.append(made("p", feedcalcWords.say("This batch goes by an ash that is not kept in this browser.")), buttons);
    return item;
  }

  function take(evidence) {
    const { kind, state } = evidence.at(-1).ash ?? {};
    page.use({ ...(kind && { kind }), ...(state && { state }), earlier: evidence });
  }

  /** The engine's own markup, in which everything a person typed is escaped. */
  function put(place, markup) {
    place.replaceChildren(...feedcalcMarkup.partsOf(markup));
  }

  /** Ask what each kept ash says, one after the other, as long as the list stays open. */
  async function tellAll(all) {
    const mine = ++asking;
    for (const record of all) {
      const text = textIn(record, "evidence");
      const evidence = evidenceOf(record);
      if (told.has(text) || !evidence) continue;
      const { kind, state } = evidence.at(-1).ash ?? {};
      const { locale, customs } = page.request();
      const bar = made("progress", "", { class: "how-far", "aria-label": feedcalcWords.say("Being worked out…") });
      placeOf(record)?.replaceChildren(bar);
      try {
        const reply = await feedcalcEngine.ask({
          schema: 1, ask: "learn", name: textIn(record, "name"), date: textIn(record, "date"),
          ...(locale && { locale }), ...(customs && { customs }),
          ash: { ...(kind && { kind }), ...(state && { state }), earlier: evidence },
        }, { line: "kept ashes", onProgress: (far) => feedcalcEngine.showProgress(bar, far) });
        if (reply.ok) told.set(text, reply.html.ash);
        if (mine !== asking) return;
        const place = placeOf(record);
        if (!place) return;
        if (reply.ok) put(place, reply.html.ash);
        else place.textContent = reply.errors.map(({ problem }) => problem).join(" ");
      } catch {
        bar.remove();
        return; // something newer was asked, or the calculator does not run here
      }
    }
  }

  const placeOf = (record) => document.querySelector(`[data-evidence="${CSS.escape(record.id)}"]`);

  const today = () => {
    const now = new Date();
    const two = (number) => String(number).padStart(2, "0");
    return `${now.getFullYear()}-${two(now.getMonth() + 1)}-${two(now.getDate())}`;
  };

  function tell(words, isTrouble = true) {
    byId("ash-told").textContent = words;
    byId("ash-told").hidden = !words;
    byId("ash-told").classList.toggle("warning", isTrouble);
    byId("ash-bar").hidden = true;
  }

  async function keep() {
    const name = byId("ash-name").value.trim();
    if (!name) {
      tell(feedcalcWords.say("Give it a name first."));
      byId("ash-name").focus();
      return;
    }
    let reply;
    tell(feedcalcWords.say("Being worked out…"), false);
    const bar = byId("ash-bar");
    bar.hidden = false;
    bar.removeAttribute("value");
    try {
      reply = await feedcalcEngine.ask({ ...page.request(), ask: "learn", name, date: today() }, {
        line: "learn", onProgress: (far) => feedcalcEngine.showProgress(bar, far),
      });
    } catch (error) {
      if (error.name === "Superseded") return; // it was pressed again
      tell(feedcalcWords.say("Not kept: the calculator does not run here."));
      return;
    }
    if (!reply.ok) {
      tell(reply.errors.map(({ problem, accepted }) => (accepted ? feedcalcWords.say("{problem} Try {accepted}.", { problem, accepted }) : problem)).join(" "));
      return;
    }
    const before = inUse();
    const same = before && textIn(before, "name") === name ? before : null;
    const id = same?.id ?? book.newId();
    const { date, evidence } = reply.values.ash;
    const refused = await feedcalcBook.write("ash", id, { name, date, evidence });
    if (refused) {
      tell(refused.map(({ problem }) => problem).join(" "));
      return;
    }
    told.set(evidence, reply.html.ash);
    tell("");
    show();
    const undo = same ? Object.fromEntries(["name", "date", "evidence"].map((field) => [field, textIn(same, field)])) : { removed: "yes" };
    page.toast(feedcalcWords.say("Kept “{name}” with what this batch taught.", { name }), feedcalcWords.say("Undo"), () => write(id, undo));
  }

  async function write(id, fields) {
    await feedcalcBook.write("ash", id, fields);
    show();
  }

  async function forget(record) {
    await write(record.id, { removed: "yes" });
    page.toast(feedcalcWords.say("Forgot “{name}”.", { name: textIn(record, "name") }), feedcalcWords.say("Undo"), () => write(record.id, { removed: "" }));
  }

  function start(given) {
    page = given;
    byId("keep-ash").hidden = false;
    byId("my-ash").addEventListener("toggle", show);
    byId("keep-ash").addEventListener("submit", (event) => {
      event.preventDefault();
      keep();
    });
    book.watch(show);
    document.addEventListener("feedcalc-language", () => {
      told.clear();
      show();
    });
  }

  return { start, show };
})();
