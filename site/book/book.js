// The season book on the page: what each bed had, written down, shown, undone, saved and merged.
// No arithmetic, no reading of amounts, no merging: those are the engine's. Knows the batches of keeping.js.
//
// Text from people is only ever put into the page as text. The one place that takes markup is `put`, and what it
// takes is the engine's own, in which everything a person typed is escaped.
//
// A change goes into the journal first (see book_keeping.js), then to the engine, then into the database; what is
// being typed is kept as a draft at every key. So nothing is lost whether the engine sleeps or the tab dies.
//
//   feedcalcBook.startBook()
//   feedcalcBook.write(kind, id, fields)        a record made or changed; promise of the engine's errors, if it has any
//   feedcalcBook.addBatch({ name, request })   open the form of an entry with this batch in it

"use strict";

const feedcalcBook = (() => {
  const kept = feedcalcBookKeeping;
  const say = feedcalcWords.say;
  const byId = (id) => document.getElementById(id);
  const html = document.documentElement;
  const TYPING_PAUSE = 200; // milliseconds from the last key to a new look at the book
  const BED = "feedcalc.book.bed";
  const COUNTRY = "feedcalc.book.country";
  const MOST_TRIES = 8; // of a change, while other windows keep writing the same record

  const forms = [...document.querySelectorAll("form[data-kind]")];
  const formOf = (kind) => forms.find((form) => form.dataset.kind === kind);
  const textIn = (record, name) => record?.fields[name]?.text ?? "";
  const isThere = (record) => textIn(record, "removed") !== "yes";

  let bed = ""; // id of the one that is shown
  let example = null; // records of the example book while that is looked at
  let editing = null; // { form, kind, id, key, was, extra } of the form that is open
  let past = [];
  let future = [];
  let lookTimer = 0;
  let look = 0; // counts looks, so that an answer to an older one is known
  let working = Promise.resolve(); // the journal is worked through by one at a time
  const entered = new Set(); // keys of changes that this window's book has; those only in memory stay in the journal
  let toldAction = null;

  // ---- What is in the book --------------------------------------------------------------------------------

  const records = () => example ?? kept.all();
  const those = (kind) => records().filter((record) => record.kind === kind && isThere(record));
  const withId = (id) => records().find((record) => record.id === id);
  const beds = () => those("bed").sort((one, other) => nameOf(one).localeCompare(nameOf(other)));

  function nameOf(record) {
    const { kind } = record;
    if (["bed", "ash", "metals"].includes(kind)) return textIn(record, "name") || say("Without a name");
    if (kind === "soil test") return say("Soil test of {day}: pH {ph}", { day: dayOf(textIn(record, "date")), ph: textIn(record, "ph") });
    return say("{day}: {what}, {amount}", {
      day: dayOf(textIn(record, "date")), amount: textIn(record, "amount"), what: choiceOf("entry", "what", textIn(record, "what")),
    });
  }

  /** What a chosen value is called on the page; the value itself where the page does not offer it. */
  function choiceOf(kind, name, value) {
    return formOf(kind)?.elements[name]?.querySelector?.(`option[value="${CSS.escape(value)}"]`)?.textContent || value;
  }

  function dayOf(text) {
    const moment = new Date(/^\d{4}-\d\d-\d\d$/.test(text) ? `${text}T12:00` : text);
    return Number.isNaN(moment.getTime()) ? text : moment.toLocaleDateString(html.lang, { day: "numeric", month: "short", year: "numeric" });
  }

  function today() {
    const now = new Date();
    const two = (number) => String(number).padStart(2, "0");
    return `${now.getFullYear()}-${two(now.getMonth() + 1)}-${two(now.getDate())}`;
  }

  const nowHere = () => `${today()}T${new Date().toTimeString().slice(0, 5)}`;

  // ---- Showing --------------------------------------------------------------------------------------------

  function put(name, markup) {
    const place = document.querySelector(`[data-book-part="${name}"]`);
    const opened = [...place.querySelectorAll("details")].map((details) => details.open);
    place.replaceChildren(...feedcalcMarkup.partsOf(markup));
    [...place.querySelectorAll("details")].forEach((details, at) => { details.open = opened[at] ?? false; });
  }

  /** The engine's look at the whole book ends with the metals; they have a place of their own on the page. */
  function layMetalsApart() {
    const whole = document.querySelector('[data-book-part="season"]');
    const nodes = [...whole.childNodes];
    const first = nodes.findIndex((node) => node.matches?.('h2[id^="metals-"]'));
    document.querySelector('[data-book-part="metals"]').replaceChildren(...(first < 0 ? [] : nodes.slice(first)));
  }

  function made(tag, words = "", attributes = {}) {
    const element = document.createElement(tag);
    element.textContent = words;
    for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
    return element;
  }

  function button(words, act, name = "") {
    const element = made("button", words, { type: "button" });
    if (name) element.append(made("span", `: ${name}`, { class: "visually-hidden" }));
    element.addEventListener("click", act);
    return element;
  }

  /** Tell what was done, and how to take it back. */
  function tell(words, action = "", act = null) {
    const place = byId("book-told");
    place.replaceChildren();
    if (!words) return;
    place.append(made("p", words));
    if (action) place.append(button(action, act));
    place.append(button(say("Close"), () => place.replaceChildren()));
  }

  /** Everything that can be shown without the engine; then the engine is asked for the rest. */
  function show() {
    const all = beds();
    if (!all.some(({ id }) => id === bed)) bed = all[0]?.id ?? "";
    keepChoice(BED, bed);
    byId("book-beds").hidden = !all.length;
    byId("book-bed-list").replaceChildren(...all.map((each) => {
      const item = made("li");
      const choose = button(nameOf(each), () => turnTo(each.id));
      choose.dataset.bed = each.id;
      if (each.id === bed) choose.setAttribute("aria-current", "true");
      item.append(choose);
      return item;
    }));
    byId("book-empty").hidden = Boolean(all.length);
    byId("book-example").hidden = !example;
    byId("book-show-example").hidden = Boolean(example || all.length);
    byId("book-doing").hidden = Boolean(example);
    for (const each of document.querySelectorAll("#book [data-write]")) {
      each.hidden = Boolean(example) || (!all.length && !["bed", "metals"].includes(each.dataset.write));
    }
    document.querySelector('[data-write="bed"]').classList.toggle("main", !all.length);
    byId("book-undo").disabled = !past.length;
    byId("book-redo").disabled = !future.length;
    showWritten();
    showDrafts();
    showState();
    lookAgain(0);
  }

  function turnTo(id) {
    bed = id;
    show();
    document.querySelector(`[data-bed="${CSS.escape(id)}"]`)?.focus();
  }

  function showWritten() {
    const own = [withId(bed), ...those("soil test"), ...those("entry")]
      .filter((record) => record && (record.id === bed || textIn(record, "bed") === bed));
    const order = (record) => (record.kind === "bed" ? "9999" : textIn(record, "date"));
    own.sort((one, other) => order(other).localeCompare(order(one)));
    byId("book-written").hidden = !own.length;
    list("book-written-list", own, [change, remove]);
    list("book-metals-written", those("metals"), [change, remove]);
    const gone = records().filter((record) => !isThere(record));
    byId("book-removed").hidden = !gone.length;
    list("book-removed-list", gone, [putBack]);
  }

  function list(place, shown, actions) {
    const opened = new Set([...byId(place).querySelectorAll("li:has(details[open])")].map(({ dataset }) => dataset.record));
    byId(place).replaceChildren(...shown.map((record) => {
      const item = made("li", "", { "data-record": record.id });
      item.append(made("p", nameOf(record)));
      const note = textIn(record, "note");
      if (note) item.append(made("p", note, { class: "hint" }));
      if (!example) {
        const buttons = made("div", "", { class: "buttons" });
        buttons.append(...actions.map((action) => action(record)));
        item.append(buttons);
      }
      const told = historyOf(record);
      if (told.length) {
        const details = made("details");
        details.open = opened.has(record.id);
        const lines = made("ul");
        lines.append(...told);
        details.append(made("summary", say("What it was before")), lines);
        item.append(details);
      }
      return item;
    }));
  }

  const change = (record) => button(say("Change"), () => openForm(record.kind, record), nameOf(record));
  const remove = (record) => button(say("Remove"), async () => {
    const name = nameOf(record);
    await write(record.kind, record.id, { removed: "yes" });
    tell(say("Removed “{name}”. It stands under “Removed”.", { name }), say("Undo"), undo);
  }, nameOf(record));
  const putBack = (record) => button(say("Put back"), async () => {
    await write(record.kind, record.id, { removed: "" });
    tell(say("Put back “{name}”.", { name: nameOf(record) }), say("Undo"), undo);
  }, nameOf(record));

  /** Lines that tell what stood in each field before, the newest first. */
  function historyOf(record) {
    const form = formOf(record.kind);
    const shown = record.history.filter(({ field }) => field !== "removed" && field !== "request");
    shown.sort((one, other) => (one.at < other.at ? 1 : -1));
    return shown.map(({ field, text, at }) => {
      const later = [...record.history.filter((past) => past.field === field), record.fields[field] ?? { at: "" }]
        .map((version) => version.at).filter((moment) => moment > at).sort()[0] ?? at;
      const label = form?.querySelector(`label[for$="-${CSS.escape(field)}"]`)?.textContent ?? field;
      const was = text ? choiceOf(record.kind, field, text) : say("nothing");
      const item = made("li", say("{label}: was “{was}”, changed {day}.", { label, was, day: dayOf(later) }));
      if (!example && text !== textIn(record, field)) {
        item.append(" ", button(say("Use again"), async () => {
          await write(record.kind, record.id, { [field]: text });
          tell(say("“{was}” stands again.", { was }), say("Undo"), undo);
        }, `${label}, ${was}`));
      }
      return item;
    });
  }

  function showState() {
    const { place, why } = kept.state();
    const waiting = kept.journal().length;
    const words = {
      "": say("Kept in this browser. A file is safer."),
      refused: say("This browser refuses to keep the book. What you write is only in this window, with a small copy beside it: save it to a file."),
      newer: say("A newer feedcalc keeps this browser's book. Load the page anew; what you write meanwhile should go into a file."),
      full: say("This browser's storage is full. The last changes are only in this window: save the book to a file."),
    };
    const line = byId("book-kept");
    line.classList.toggle("warning", place !== "browser");
    line.replaceChildren(place === "browser" ? words[""] : words[why] ?? words.refused);
    if (place !== "browser") line.append(" ", button(say("Save the book to a file"), saveBook));
    if (waiting && html.dataset.engine !== "ready") {
      line.append(" ", say("What you wrote last is kept and goes into the book once the calculator is awake."));
    }
    const broken = kept.broken();
    const troubles = byId("book-troubles");
    troubles.hidden = !broken.length;
    if (broken.length) {
      troubles.replaceChildren(
        made("p", say("Something in this browser's book can't be read any more. It was left as it is, and everything else is shown. If you have a file of the book, open it: that mends it.")),
        button(say("Save what can't be read"), () => download("feedcalc-unreadable.json", JSON.stringify(broken.map(({ raw }) => raw), null, 1), "application/json")),
      );
    }
  }

  // ---- Asking the engine ----------------------------------------------------------------------------------

  /** How the grower writes numbers and what a cup is, as on the batch's form. */
  function customs() {
    const { locale, customs: cups } = feedcalcForm.read();
    const { language } = feedcalcWords;
    return { schema: 1, ...(locale && { locale }), ...(cups && { customs: cups }), ...(language && { language }) };
  }

  const asObject = (chosen) => JSON.parse(kept.envelope(chosen));

  function lookAgain(pause = TYPING_PAUSE) {
    const asked = ++look;
    clearTimeout(lookTimer);
    if (feedcalcPlaces.current() !== "book") return; // it is worked out when somebody comes to look
    if (!records().length) {
      for (const part of ["season", "season_bed", "metals"]) put(part, "");
      byId("book-freshness").hidden = true;
      byId("book-print-line").hidden = true;
      tellProgress(null);
      return;
    }
    mark("stale", say("Being worked out anew…"));
    lookTimer = setTimeout(() => lookAtBook(asked), pause);
  }

  /** First the typical figures of the whole book, then the ranges of the bed that is shown. */
  async function lookAtBook(asked) {
    const quick = await season(asked, records(), "off");
    if (!quick) return;
    showSeason(quick, ["season", "season_bed"]);
    if (!quick.ok) return;
    mark("quick", say("Typical figures; the likely ranges are being worked out…"));
    const reply = await season(asked, recordsOfBed(), "on");
    if (!reply?.ok) return;
    showSeason(reply, ["season_bed"]);
    mark("fresh", say("For what is written now."));
  }

  /** The bed that is shown with all that is told of it, and the ashes and metals, which belong to every bed. */
  function recordsOfBed() {
    const shown = (editing?.kind === "entry" && editing.form.elements.bed.value) || bed;
    return records().filter((record) => record.id === shown || textIn(record, "bed") === shown || ["ash", "metals"].includes(record.kind));
  }

  function mark(state, words) {
    tellProgress(null);
    byId("book-freshness").hidden = false;
    byId("book-freshness").dataset.freshness = state;
    byId("book-freshness").textContent = words;
  }

  /** How far the ranges are, `{ done, total }`; null while none are being worked out. */
  function tellProgress(far) {
    feedcalcEngine.showProgress(byId("book-ranges-bar"), far);
  }

  /** The engine's look at the book with what stands in the open form, or null where a newer one was asked. */
  async function season(asked, chosen, ranges) {
    const typed = editing?.kind === "entry" ? fieldsOf(editing) : null;
    const country = byId("book-country").value;
    const seen = typed ? chosen.filter(({ id }) => id !== editing.id) : chosen;
    const request = {
      ...customs(), ask: "season", ranges, now: nowHere(), book: asObject(seen), bed: typed?.bed || bed,
      ...(country && { country }), ...(typed?.amount && { what_if: typed }),
    };
    try {
      const reply = await feedcalcEngine.ask(request, {
        line: "book", onProgress: (far) => { if (asked === look && ranges === "on") tellProgress(far); },
      });
      return asked === look ? reply : null;
    } catch (error) {
      if (asked !== look || error.name === "Superseded") return null;
      if (ranges === "on") mark("stale", say("Typical figures; working out the ranges took too long and was stopped."));
      else mark("stale", say("Not worked out: the calculator does not run here. What is written is kept."));
      return null;
    }
  }

  function showSeason(reply, parts) {
    if (editing) tellErrors(reply.ok ? [] : reply.errors.filter(({ field }) => field.startsWith("what_if")), reply.read_as);
    byId("book-what-if").hidden = !(editing && reply.ok && reply.html.what_if);
    if (!reply.ok) {
      mark("stale", say("Not for what is typed now: mend the marked fields first."));
      if (!editing) mark("stale", wordsOf(reply.errors));
      return;
    }
    for (const part of parts) put(part, reply.html[part] ?? "");
    if (parts.includes("season")) layMetalsApart();
    if (reply.html.what_if) putWhatIf(reply.html.what_if);
    byId("book-print-line").hidden = !reply.html.season_bed;
  }

  function putWhatIf(markup) {
    byId("book-what-if").replaceChildren(...feedcalcMarkup.partsOf(markup));
  }

  // ---- Writing --------------------------------------------------------------------------------------------

  /** Ask for a change of one record: into the journal, and into the book as soon as the engine is awake. */
  async function write(kind, id, fields, { undoable = true } = {}) {
    const before = withId(id);
    const step = [{ kind, id, before: textsOf(before, fields), after: fields }];
    const changes = [changeOf(kind, id, fields)];
    return carryOut(changes, undoable ? step : null);
  }

  /** What has to be written to have a record as it was; one that was not there is removed. */
  function textsOf(record, fields) {
    if (!record) return { removed: "yes" };
    return Object.fromEntries(Object.keys(fields).map((name) => [name, textIn(record, name)]));
  }

  function changeOf(kind, id, fields) {
    const before = kept.all().find((record) => record.id === id);
    return { key: kept.newId(), kind, id, fields, at: kept.stamp(before ? [before] : []), by: kept.device() };
  }

  async function carryOut(changes, step) {
    for (const each of changes) kept.addToJournal(each);
    if (step) {
      past.push(step);
      future = [];
    }
    showState();
    const refused = await workOff(changes);
    if (refused && step) past = past.filter((each) => each !== step);
    show();
    return refused;
  }

  /** Work through the journal and `changes`, one at a time; returns the engine's errors for one of `changes`. */
  function workOff(changes = []) {
    const run = working.then(async () => {
      const waiting = new Map([...kept.journal(), ...changes].map((each) => [each.key, each]));
      let refused = null;
      for (const each of waiting.values()) {
        if (entered.has(each.key)) continue;
        const errors = await enter(each);
        if (!errors) continue;
        if (changes.some(({ key }) => key === each.key)) refused = errors;
        else backToTyping(each.kind, each.id, each.fields, errors);
      }
      return refused;
    });
    working = run.catch(() => {});
    return run.catch(() => null); // the engine can't be had now: the journal keeps what was asked for
  }

  async function enter({ key, kind, id, fields, at, by }) {
    const beside = () => kept.all().filter((record) => record.id === id || ["bed", "ash"].includes(record.kind));
    const reply = await work(() => ({ do: "write", id, record: { kind, fields }, at, by, book: asObject(beside()) }));
    if (!reply.ok) {
      kept.takeFromJournal(key);
      return reply.errors;
    }
    entered.add(key);
    if (kept.state().place === "browser") for (const each of entered) kept.takeFromJournal(each);
    return null;
  }

  /** What the engine would not take, once its form is gone, stands as begun and not finished. */
  function backToTyping(kind, id, fields, errors) {
    kept.keepDraft(`${kind} ${id}`, { kind, id, fields });
    tell(say("Something you wrote could not be taken; it stands as not finished. {reason}", { reason: wordsOf(errors) }));
  }

  const wordsOf = (errors) => errors.map(({ problem, accepted }) => (accepted ? say("{problem} Try {accepted}.", { problem, accepted }) : problem)).join(" ");

  /** Have the engine work on the book and keep what changed; anew where another window was quicker. */
  async function work(asked) {
    for (let tries = 0; ; tries++) {
      const reply = await askBook(asked());
      const changed = reply.ok ? reply.values.book.changed ?? [] : [];
      if (!changed.length || (await kept.put(changed)) !== "stale" || tries === MOST_TRIES) return reply;
    }
  }

  let turn = Promise.resolve();
  /** One piece of work at a time: a newer question on one line of the engine would push the older one out. */
  function askBook(asked) {
    const run = turn.then(() => feedcalcEngine.ask({ ...customs(), ask: "book", now: nowHere(), ...asked }, { line: "book work" }));
    turn = run.catch(() => {});
    return run;
  }

  async function undo() {
    await retrace(past, future, "before");
  }

  async function redo() {
    await retrace(future, past, "after");
  }

  async function retrace(from, to, wanted) {
    const step = from.pop();
    if (!step) return;
    to.push(step);
    const changes = step.map(({ kind, id, [wanted]: fields, ...rest }) => {
      // What was removed because it had not been there comes back by saying so.
      const back = wanted === "after" && rest.before.removed === "yes" ? { ...fields, removed: "" } : fields;
      return changeOf(kind, id, back);
    });
    const refused = await carryOut(changes, null);
    if (refused) {
      from.push(to.pop());
      show();
      tell(wordsOf(refused));
    } else tell(wanted === "before" ? say("Undone.") : say("Done again."));
  }

  // ---- The forms ------------------------------------------------------------------------------------------

  const inputs = (form) => [...form.elements].filter(({ name }) => name);

  function openForm(kind, record = null, start = {}, key = record ? `${kind} ${record.id}` : kind) {
    closeForm();
    const form = formOf(kind);
    const draft = kept.draft(key);
    fillChoices(form, record);
    editing = {
      form, kind, key, was: record,
      id: record?.id ?? (typeof draft?.id === "string" ? draft.id : kept.newId()),
      extra: record ? { request: textIn(record, "request"), batch: textIn(record, "batch") } : { request: "", batch: "" },
    };
    const usual = { bed, date: record ? "" : today(), ...start };
    const drafted = draft && typeof draft.fields === "object" ? draft.fields : {};
    for (const input of inputs(form)) {
      const value = drafted[input.name] ?? start[input.name] ?? (record ? textIn(record, input.name) : usual[input.name]);
      setValue(input, typeof value === "string" ? value : "");
    }
    for (const name of ["request", "batch"]) {
      const value = start[name] ?? drafted[name];
      if (typeof value === "string") editing.extra[name] = value;
    }
    fillBatches();
    showWhatApplies();
    for (const details of form.querySelectorAll("details")) details.open = [...details.querySelectorAll("input")].some(({ value }) => value);
    tellErrors([]);
    const heading = form.querySelector("h3");
    heading.querySelector("[data-new]").hidden = Boolean(record);
    heading.querySelector("[data-again]").hidden = !record;
    byId("book-what-if").replaceChildren();
    form.hidden = false;
    byId("book-drafts").hidden = true;
    byId("book").dataset.writing = kind;
    tell("");
    heading.focus();
    heading.scrollIntoView({ block: "start" });
    lookAgain(0);
    return editing;
  }

  function closeForm() {
    if (!editing) return;
    editing.form.hidden = true;
    editing = null;
    delete byId("book").dataset.writing;
  }

  function setValue(input, value) {
    if (input.tagName === "SELECT") {
      input.querySelector("[data-unknown]")?.remove();
      if (value && ![...input.options].some((option) => option.value === value)) {
        const option = new Option(value, value);
        option.dataset.unknown = "";
        input.add(option);
      }
      if (!value && ![...input.options].some((option) => !option.value)) {
        input.selectedIndex = 0;
        return;
      }
    }
    input.value = value;
  }

  function fillChoices(form, record) {
    const fill = (name, kind) => {
      const select = form.elements[name];
      if (!select) return;
      for (const option of [...select.options]) if (option.value) option.remove();
      const listed = those(kind);
      const own = textIn(record, name) && withId(textIn(record, name));
      if (own && !listed.includes(own)) listed.push(own);
      for (const each of listed.sort((one, other) => nameOf(one).localeCompare(nameOf(other)))) select.add(new Option(nameOf(each), each.id));
    };
    fill("bed", "bed");
    fill("ash", "ash");
  }

  /** Batches kept in this browser, and the one that is in the entry already. */
  function fillBatches() {
    if (editing.kind !== "entry") return;
    const { request, batch } = editing.extra;
    const choice = byId("entry-batch-choice");
    const options = [new Option(say("Not from a batch that is kept here"), "")];
    if (request) options.push(new Option(batch ? say("As written: {name}", { name: batch }) : say("The batch as written"), "written"));
    const batches = feedcalcKeeping.open();
    options.push(...batches.map(({ id, name }) => new Option(name || say("Batch without a name"), `batch ${id}`)));
    choice.replaceChildren(...options);
    choice.value = request ? "written" : "";
  }

  function takeBatch(chosen) {
    const found = feedcalcKeeping.open().find(({ id }) => `batch ${id}` === chosen);
    if (chosen === "written") return;
    editing.extra = found ? { request: JSON.stringify(found.request), batch: found.name } : { request: "", batch: "" };
    fillBatches();
    typed();
  }

  function showWhatApplies() {
    const { form, kind } = editing;
    const by = form.elements[kind === "metals" ? "of" : "what"]?.value ?? "";
    for (const place of form.querySelectorAll("[data-only]")) place.hidden = !place.dataset.only.split("|").includes(by);
    const examples = { "liquid feed": "9 L", "dry ash": "1 cup", sludge: "1 L", compost: "10 L", lime: "500 g", other: "1 kg" };
    if (kind === "entry") form.elements.amount.placeholder = examples[by] ?? "";
  }

  /** What stands in the form, as the fields of a record; hidden fields count as empty. */
  function fieldsOf({ form, kind, extra }) {
    const fields = {};
    for (const input of inputs(form)) fields[input.name] = input.closest("[data-only][hidden]") ? "" : input.value.trim();
    if (kind === "entry") {
      const carries = !byId("entry-batch-choice").closest("[data-only]").hidden;
      fields.request = carries ? extra.request : "";
      fields.batch = carries ? extra.batch : "";
    }
    return fields;
  }

  function typed() {
    if (!editing) return;
    const fields = Object.fromEntries(inputs(editing.form).map(({ name, value }) => [name, value]));
    kept.keepDraft(editing.key, { kind: editing.kind, id: editing.id, fields: { ...fields, ...editing.extra } });
    showWhatApplies();
    if (editing.kind === "entry") lookAgain();
  }

  async function save() {
    if (editing.saving) return undefined;
    const { kind, id, was, key } = editing;
    const fields = fieldsOf(editing);
    const changed = Object.fromEntries(Object.entries(fields).filter(([name, text]) => text !== textIn(was, name)));
    if (!Object.keys(changed).length) {
      kept.keepDraft(key, null);
      closeForm();
      show();
      tell(was ? say("Nothing was changed.") : say("Nothing was filled in."));
      return undefined;
    }
    const open = editing;
    open.saving = true;
    const written = write(kind, id, changed);
    kept.keepDraft(key, null);
    if (html.dataset.engine !== "ready") { // it is in the journal: the form need not stay for it
      closeForm();
      show();
    }
    const refused = await written;
    if (refused && editing && editing !== open) return backToTyping(kind, id, fields, refused);
    if (refused) {
      const reopened = editing === open ? open : openForm(kind, was, fields, key);
      kept.keepDraft(key, { kind, id, fields });
      reopened.id = id;
      reopened.saving = false;
      tellErrors(refused);
      return undefined;
    }
    if (editing === open) closeForm();
    if (kind === "bed") bed = id;
    else if (changed.bed) bed = changed.bed;
    show();
    tell(say("Written in the book."), say("Undo"), undo);
    byId("book-bed-sheet").focus();
    return undefined;
  }

  function giveUp() {
    const { kind, key, was } = editing;
    const draft = kept.draft(key);
    kept.keepDraft(key, null);
    closeForm();
    show();
    if (!draft) return tell("");
    return tell(say("What you typed was thrown away."), say("Undo"), () => {
      kept.keepDraft(key, draft);
      openForm(kind, was, {}, key);
    });
  }

  function showDrafts() {
    const place = byId("book-drafts");
    const found = Object.entries(kept.drafts()).filter(([key, { kind }]) => formOf(kind) && key !== editing?.key);
    place.hidden = !found.length || Boolean(editing || example);
    place.replaceChildren(...found.flatMap(([key, draft]) => {
      const line = made("p", say("Begun and not finished: {what}", { what: formOf(draft.kind).querySelector(key === draft.kind ? "[data-new]" : "[data-again]").textContent }));
      const buttons = made("div", "", { class: "buttons" });
      buttons.append(
        button(say("Go on with it"), () => openForm(draft.kind, withId(draft.id) ?? null, {}, key)),
        button(say("Throw it away"), () => {
          kept.keepDraft(key, null);
          showDrafts();
          tell(say("Thrown away."), say("Undo"), () => { kept.keepDraft(key, draft); showDrafts(); tell(""); });
        }),
      );
      return [line, buttons];
    }));
  }

  function tellErrors(errors, readings = {}) {
    if (!editing) return;
    const { form } = editing;
    const last = (path) => path.split(".").at(-1);
    const known = new Set([...form.querySelectorAll("[data-written-error]")].map(({ dataset }) => dataset.writtenError));
    for (const place of form.querySelectorAll("[data-written-error]")) {
      const name = place.dataset.writtenError;
      const here = errors.filter(({ field }) => (name ? last(field) === name : !known.has(last(field))));
      place.textContent = wordsOf(here);
      place.hidden = !here.length;
      if (name) form.elements[name]?.toggleAttribute("aria-invalid", false);
      if (name && here.length) {
        form.elements[name]?.setAttribute("aria-invalid", "true");
        form.elements[name]?.closest("details")?.setAttribute("open", "");
      }
    }
    for (const place of form.querySelectorAll("[data-written-echo]")) {
      const read = readings?.[`what_if.${place.dataset.writtenEcho}`];
      place.textContent = read ? say("Read as {amount}.", { amount: read }) : "";
    }
  }

  // ---- Files ----------------------------------------------------------------------------------------------

  function download(name, text, type) {
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([text], { type }));
    link.download = name;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 60000);
  }

  const awake = () => html.dataset.engine === "ready";

  /** The engine writes the file, so that the same book gives the same bytes everywhere; asleep, a plain one is written. */
  async function saveBook() {
    const reply = awake() ? await askBook({ do: "write file", book: asObject() }).catch(() => null) : null;
    const text = reply?.ok ? reply.values.book.text : `${kept.envelope()}\n`;
    download(`feedcalc-book-${today()}.json`, text, "application/json");
  }

  // Batches that are open but fed to no bed yet, as entries of none: liquor steeps before it is written down.
  function steeping() {
    const at = kept.stamp();
    const by = kept.device();
    const written = (fields) => Object.fromEntries(Object.entries(fields).map(([name, text]) => [name, { text, at, by }]));
    const ofExample = document.querySelector('[name="now"]').defaultValue;
    const batches = feedcalcKeeping.open().filter(({ request }) => request.now && request.now !== ofExample);
    return batches.map(({ name, request }, place) => ({
      id: `open-${place}`, kind: "entry", history: [],
      fields: written({ what: "liquid feed", batch: name ?? "", request: JSON.stringify(request) }),
    }));
  }

  async function saveWith(name, asked, type, textOf = ({ text }) => text, book = asObject()) {
    try {
      const reply = await askBook({ ...asked, book });
      if (reply.ok) download(name, textOf(reply.values.book), type);
      else tell(wordsOf(reply.errors));
    } catch {
      tell(say("The calculator does not run here, so only the plain file can be saved."));
    }
  }

  async function openFile(file) {
    const text = await file.text();
    const csv = /\.csv$/i.test(file.name);
    let read;
    try {
      read = await askBook({ do: csv ? "read csv" : "read file", text, at: kept.stamp(), by: kept.device(), book: asObject() });
    } catch {
      tell(say("The calculator does not run here, so no file can be read. Try again when it is awake."));
      return;
    }
    if (!read.ok) {
      tell(wordsOf(read.errors));
      return;
    }
    preview(read.values.book, file.name);
  }

  function preview({ changed = [], set_aside: aside = [] }, name) {
    const here = new Map(kept.all().map((record) => [record.id, record]));
    if (!changed.length && !aside.length) {
      tell(say("Everything in {name} is in the book already.", { name }));
      return;
    }
    const dialog = byId("book-preview");
    const fresh = changed.filter(({ id }) => !here.has(id));
    const other = changed.filter(({ id }) => here.has(id));
    byId("book-preview-words").textContent = say("New: {fresh}. Changed: {other}. Set aside because it can't be read: {aside}.", {
      fresh: fresh.length, other: other.length, aside: aside.length,
    });
    const line = (words, detail) => {
      const item = made("li");
      item.append(made("strong", words), " ", detail);
      return item;
    };
    const LONGEST_LIST = 100;
    byId("book-preview-list").replaceChildren(
      ...fresh.slice(0, LONGEST_LIST).map((record) => line(say("New:"), nameOf(record))),
      ...other.slice(0, LONGEST_LIST).map((record) => line(say("Changed:"), differences(here.get(record.id), record))),
      ...aside.slice(0, LONGEST_LIST).map((each) => line(say("Set aside:"), wordsOfAside(each))),
    );
    dialog.querySelector('[value="yes"]').hidden = !changed.length;
    dialog.returnValue = "no";
    dialog.onclose = async () => {
      if (dialog.returnValue !== "yes") return;
      await takeIn(changed);
      tell(say("Merged {name} into the book.", { name }), say("Undo"), undo);
    };
    dialog.showModal();
  }

  const wordsOfAside = (each) => (typeof each === "string" ? each : [each.place ?? each.field, each.given, each.problem].filter(Boolean).join(": "));

  function differences(mine, coming) {
    const names = Object.keys(coming.fields).filter((name) => textIn(mine, name) !== textIn(coming, name) && name !== "request");
    const told = names.map((name) => say("“{mine}” becomes “{coming}”", { mine: textIn(mine, name), coming: textIn(coming, name) }));
    return [nameOf(mine), ...(told.length ? told : [say("only its history grows")])].join("; ");
  }

  async function takeIn(coming) {
    const before = new Map(kept.all().map((record) => [record.id, record]));
    const reply = await work(() => ({ do: "merge", other: asObject(coming), book: asObject() })).catch(() => null);
    if (!reply?.ok) {
      tell(say("This could not be merged. The book is as it was."));
      return;
    }
    const step = (reply.values.book.changed ?? []).map((record) => {
      const mine = before.get(record.id);
      const after = Object.fromEntries(Object.entries(record.fields).map(([name, { text }]) => [name, text])
        .filter(([name, text]) => text !== textIn(mine, name)));
      return { kind: record.kind, id: record.id, before: textsOf(mine, after), after };
    });
    past.push(step);
    future = [];
    show();
  }

  // ---- Start ----------------------------------------------------------------------------------------------

  function keepChoice(key, value) {
    try {
      localStorage.setItem(key, value);
    } catch { /* then it is chosen anew next time */ }
  }

  function chosenBefore(key) {
    try {
      return localStorage.getItem(key) ?? "";
    } catch {
      return "";
    }
  }

  function addBatch({ name, request }) {
    example = null;
    feedcalcPlaces.go("book");
    show();
    if (!beds().length) {
      tell(say("Add a bed first; then put the batch in."));
      openForm("bed");
      return;
    }
    const [can, ...more] = Array.isArray(request.cans) ? request.cans : [];
    const single = can && !more.length && ["", "1"].includes(String(can.count ?? "")) ? String(can.size ?? "") : "";
    openForm("entry", null, {
      what: "liquid feed", request: JSON.stringify(request), batch: name, ...(single && { amount: single }),
      dilution: typeof request.dilution === "string" ? request.dilution : "",
    });
  }

  async function startBook() {
    bed = chosenBefore(BED);
    byId("book-country").value = chosenBefore(COUNTRY);
    if (byId("book-country").selectedIndex < 0) byId("book-country").selectedIndex = 0;
    for (const form of forms) {
      form.addEventListener("submit", (event) => {
        event.preventDefault();
        save();
      });
      form.addEventListener("input", ({ target }) => { if (target.name) typed(); });
      form.querySelector("[data-give-up]").addEventListener("click", giveUp);
    }
    for (const each of document.querySelectorAll("#book [data-write]")) each.addEventListener("click", () => openForm(each.dataset.write));
    for (const each of document.querySelectorAll("[data-today]")) {
      each.addEventListener("click", () => {
        byId(each.dataset.today).value = today();
        typed();
      });
    }
    byId("entry-batch-choice").addEventListener("change", ({ target }) => takeBatch(target.value));
    document.addEventListener("feedcalc-language", () => lookAgain(0));
    byId("book-country").addEventListener("change", ({ target }) => {
      keepChoice(COUNTRY, target.value);
      lookAgain(0);
    });
    byId("book-undo").addEventListener("click", undo);
    byId("book-redo").addEventListener("click", redo);
    byId("book-show-example").addEventListener("click", () => {
      example = JSON.parse(byId("book-example-data").textContent).records;
      show();
    });
    byId("book-example-end").addEventListener("click", () => {
      example = null;
      show();
    });
    byId("book-save").addEventListener("click", saveBook);
    byId("book-save-csv").addEventListener("click", () => saveWith(`feedcalc-book-${today()}.csv`, { do: "write csv" }, "text/csv"));
    byId("book-calendar").addEventListener("click", () => saveWith(`feedcalc-reminders-${today()}.ics`, { do: "reminders" }, "text/calendar",
      ({ reminders }) => feedcalcCalendar.text(reminders, new Date()), asObject([...kept.all(), ...steeping()])));
    byId("book-open").addEventListener("change", async ({ target }) => {
      const [file] = target.files;
      if (file) await openFile(file);
      target.value = "";
    });
    byId("book-print").addEventListener("click", () => window.print());
    byId("batch-to-book").hidden = false;
    byId("batch-to-book").addEventListener("click", () => addBatch({ name: byId("batch-name").value, request: feedcalcForm.read() }));
    kept.watch(show);
    await kept.open();
    show();
    const wake = async () => {
      if (html.dataset.engine !== "ready") return;
      await workOff();
      show();
    };
    new MutationObserver(wake).observe(html, { attributes: true, attributeFilter: ["data-engine"] });
    new MutationObserver(show).observe(html, { attributes: true, attributeFilter: ["data-place"] });
    document.addEventListener("feedcalc-language", show);
    await wake();
  }

  return { startBook, addBatch, write };
})();

feedcalcBook.startBook();
