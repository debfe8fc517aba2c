// The page itself: what is typed goes to the engine, what comes back goes on the page, nothing typed is lost.
// No arithmetic on figures, no rounding, no unit names: those are the engine's.
//
// Text from people is only ever put into the page as text. The one place that takes markup is `put`, and what it
// takes is the engine's own, in which everything a person typed is escaped.

"use strict";

{
  const byId = (id) => document.getElementById(id);
  const html = document.documentElement;
  const form = byId("batch");
  const answer = byId("answer");
  const freshness = byId("freshness");
  const rangesBar = byId("ranges-bar");
  const TYPING_PAUSE = 120; // milliseconds from the last key to the quick answer, which has no ranges
  const RANGES_PAUSE = 150; // and from that to the whole one, which is dropped at the next key
  const CURRENT = "feedcalc.current";

  let batches = [];
  let batch = null; // the one on the page
  let past = [];
  let future = [];
  let editing = null; // name of the field whose keys go into one step of undo
  let quickTimer = 0;
  let rangesTimer = 0;
  let saidTimer = 0;
  let question = 0; // counts changes, so that an answer to an older one is known
  const answered = {}; // by place: { text, reply }, the request whose whole answer is shown there
  let stored = true; // whether the last attempt to keep something worked
  let toastAction = null;
  let editedHere = false; // whether this window wrote the batch since it was opened or another window wrote it

  // ---- What is on the page --------------------------------------------------------------------------------

  /** Put a part of the engine's answer in its place, leaving ticks, opened details and the focus as they are. */
  function put(name, markup) {
    const place = document.querySelector(`[data-part="${name}"]`);
    const focused = place.contains(document.activeElement) ? document.activeElement.dataset.step : null;
    const opened = [...place.querySelectorAll("details")].map((details) => details.open);
    place.replaceChildren(...feedcalcMarkup.partsOf(markup));
    place.lang = html.lang;
    [...place.querySelectorAll("details")].forEach((details, at) => { details.open = opened[at] ?? false; });
    if (name === "sheet") showTicks();
    if (name === "label") showBatchName();
    if (focused) place.querySelector(`[data-step="${focused}"]`)?.focus();
  }

  function showTicks() {
    for (const box of answer.querySelectorAll("[data-step]")) box.checked = batch?.done.includes(box.dataset.step) ?? false;
  }

  /** The name the grower gave the batch, on its label; without one the line to write on stays. */
  function showBatchName() {
    const line = document.createElement("span");
    line.className = "to-write";
    document.querySelector("[data-batch-name]").replaceChildren(batch?.name || line);
  }

  function show(reply, whole) {
    feedcalcForm.tell(reply);
    if (!reply.ok) {
      answer.setAttribute("aria-busy", "false");
      tellProgress(null);
      mark("stale", feedcalcWords.say("Not for what is typed now: mend the marked fields first. These are the last figures that could be worked out."));
      const count = reply.errors.length;
      say(count === 1 ? feedcalcWords.say("One field needs mending.") : feedcalcWords.say("{count} fields need mending.", { count }));
      return;
    }
    for (const [name, markup] of Object.entries(reply.html)) {
      // Curves, and how dangerous it can be, come with the ranges; till then the last ones stay.
      if (whole || !["reactions", "label"].includes(name)) put(name, markup);
    }
    answer.setAttribute("aria-busy", String(!whole));
    if (sheet() === "dry") {
      mark("fresh", feedcalcWords.say("For what is typed now."));
      say(feedcalcWords.say("Sheet for dry ash worked out."));
    } else if (whole) {
      tellProgress(null);
      feedcalcLabels.refresh();
      mark("fresh", feedcalcWords.say("For what is typed now."));
      say(feedcalcWords.say("Sheet worked out: {answer}", { answer: document.querySelector('[data-part="bar"]').textContent.replaceAll(/\s+/g, " ").trim() }));
    } else {
      mark("quick", feedcalcWords.say("Typical figures; the likely ranges are being worked out…"));
    }
  }

  function mark(state, words) {
    const line = sheet() === "dry" ? byId("dry-freshness") : freshness;
    line.dataset.freshness = state;
    line.textContent = words;
  }

  /** How far the ranges are, `{ done, total }`; null while none are being worked out. */
  function tellProgress(far) {
    feedcalcEngine.showProgress(rangesBar, far);
  }

  /** Told to those who listen, once what is typed has come to rest. */
  function say(words) {
    clearTimeout(saidTimer);
    saidTimer = setTimeout(() => { if (byId("said").textContent !== words) byId("said").textContent = words; }, 700);
  }

  // ---- From what is typed to the answer -------------------------------------------------------------------

  /** Which of the two sheets that follow the form is shown, or was last. */
  const sheet = () => (feedcalcPlaces.current() === "dry" ? "dry" : "batch");

  /** What the form asks of the sheet that is shown. */
  const asking = () => (sheet() === "dry" ? { ...feedcalcForm.askedAt("dry", batch.request), ask: "spread", now: localMoment() } : feedcalcForm.askedAt("batch", batch.request));

  function recalculate(pause = TYPING_PAUSE) {
    const asked = ++question;
    clearTimeout(quickTimer);
    clearTimeout(rangesTimer);
    tellProgress(null);
    answer.setAttribute("aria-busy", "true");
    if (sheet() === "dry" || freshness.dataset.freshness !== "example") mark("stale", feedcalcWords.say("Being worked out anew…"));
    quickTimer = setTimeout(async () => {
      const request = asking();
      const quick = await askFor(asked, { ...request, ranges: "off" });
      if (!quick) return;
      show(quick, false);
      if (!quick.ok || sheet() === "dry") {
        answered[sheet()] = { text: textOf(request), reply: quick };
        return;
      }
      tellProgress({ done: 0, total: 1 });
      rangesTimer = setTimeout(async () => {
        const whole = await askFor(asked, { ...request, ranges: "on" });
        if (!whole) return;
        show(whole, true);
        answered.batch = { text: textOf(request), reply: whole };
      }, pause ? RANGES_PAUSE : 0);
    }, pause);
  }

  /** A request without the clock that the sheet for dry ash is given, which would make each one another. */
  const textOf = (request) => JSON.stringify(request.ask ? { ...request, now: "" } : request);

  /** Another place is shown: its sheet is worked out where it is not for what stands in the form. */
  function placeChanged(place) {
    if (place === "book") return;
    feedcalcAshes.show();
    const known = answered[place];
    if (known?.text !== textOf(asking())) recalculate(0);
    else {
      clearTimeout(quickTimer);
      clearTimeout(rangesTimer);
      question += 1;
      feedcalcForm.tell(known.reply);
    }
  }

  /** The reply, or null where something newer was asked or none can be had. */
  async function askFor(asked, request) {
    try {
      const reply = await feedcalcEngine.ask(request, {
        onProgress: (far) => { if (asked === question) tellProgress(far); },
      });
      return asked === question ? reply : null;
    } catch (error) {
      if (asked !== question || error.name === "Superseded") return null;
      answer.setAttribute("aria-busy", "false");
      tellProgress(null);
      mark("stale", error.name === "TimedOut"
        ? feedcalcWords.say("This took too long and was stopped. Change something, or try again.")
        : feedcalcWords.say("Not worked out: the calculator does not run here. What is typed is kept."));
      return null;
    }
  }

  // ---- Keeping --------------------------------------------------------------------------------------------

  const LAST_MOMENT = Date.UTC(9999, 0);

  /** Now, but later than the time `after`: a clock that was set back must not make a change look old. */
  function stamp(after = "") {
    const before = Date.parse(after);
    return new Date(Math.max(Date.now(), before < LAST_MOMENT ? before + 1 : 0)).toISOString();
  }

  const newId = () => crypto.randomUUID?.() ?? `b${Date.now()}${Math.random()}`.replaceAll(".", "");
  const nameOf = ({ name }) => name || feedcalcWords.say("Batch without a name");

  function keep() {
    const theirs = feedcalcKeeping.unseen(batch);
    if (theirs) keepApart(theirs);
    editedHere = true;
    batch.changed = stamp(batch.changed);
    tellKept(feedcalcKeeping.store(batch));
  }

  /** Another window wrote the batch while this one was not told: what it wrote stays, as a batch of its own. */
  function keepApart(theirs) {
    const apart = add(nameOf(theirs), theirs.request, theirs.done);
    listBatches();
    toast(feedcalcWords.say("Another window changed this batch too. What was written there is kept as “{name}”.", { name: apart.name }));
  }

  function tellKept(kept) {
    stored = kept;
    const place = byId("kept");
    place.classList.toggle("warning", !kept);
    place.textContent = kept
      ? feedcalcWords.say("Kept in this browser. A file is safer.")
      : feedcalcWords.say("Not kept: this browser's storage is full or refused. Save it to a file: ");
    if (kept) return;
    const button = document.createElement("button");
    button.type = "button";
    button.id = "export-now";
    button.textContent = feedcalcWords.say("Save all to a file");
    button.addEventListener("click", exportAll);
    place.append(button);
  }

  function remember() {
    past.push(JSON.stringify(batch.request));
    if (past.length > 200) past.shift();
    future = [];
    tellHistory();
  }

  function tellHistory() {
    byId("undo").disabled = !past.length;
    byId("redo").disabled = !future.length;
  }

  function step(from, to) {
    if (!from.length) return;
    to.push(JSON.stringify(batch.request));
    batch.request = JSON.parse(from.pop());
    editing = null;
    feedcalcForm.write(batch.request);
    feedcalcAshes.show();
    tellHistory();
    keep();
    recalculate(0);
  }

  /** The form was changed: by typing into the field `name`, or at once where there is no name. */
  function changed(name = null) {
    const request = feedcalcForm.read();
    if (JSON.stringify(request) === JSON.stringify(batch.request)) return;
    if (!name || editing !== name) remember();
    editing = name;
    batch.request = request;
    keep();
    recalculate();
  }

  /** Take parts of a kept ash for this batch; `earlier` null goes by none. */
  function takeAsh({ earlier, ...parts }) {
    remember();
    const { earlier: before, ...own } = batch.request.ash ?? {};
    batch.request = { ...batch.request, ash: { ...own, ...parts, ...(earlier && { earlier }) } };
    editing = null;
    feedcalcForm.write(batch.request);
    keep();
    feedcalcAshes.show();
    recalculate(0);
  }

  function turnTo(chosen) {
    batch = chosen;
    past = [];
    future = [];
    editing = null;
    editedHere = false;
    feedcalcKeeping.see(batch);
    try {
      sessionStorage.setItem(CURRENT, batch.id);
      localStorage.setItem(CURRENT, batch.id);
    } catch { /* then the newest is opened next time */ }
    const left = feedcalcForm.write(batch.request);
    if (left.length) {
      batch.request = feedcalcForm.read();
      keep();
    }
    byId("batch-name").value = batch.name;
    byId("link-text").hidden = true;
    listBatches();
    tellHistory();
    showTicks();
    feedcalcAshes.show();
    recalculate(0);
    return left.length ? feedcalcWords.say(" Left out, because this page has no field for it: {fields}.", { fields: left.join(", ") }) : "";
  }

  function listBatches() {
    byId("batch-choice").replaceChildren(...batches.map((each) => {
      const option = new Option(nameOf(each), each.id);
      option.selected = each === batch;
      return option;
    }));
  }

  function add(name, request, done = [], id = newId()) {
    const made = { id, name: freeName(name), request, done, changed: stamp() };
    batches.unshift(made);
    tellKept(feedcalcKeeping.store(made));
    return made;
  }

  function freeName(name) {
    const taken = new Set(batches.map((each) => each.name));
    if (!taken.has(name)) return name;
    let number = 2;
    while (taken.has(`${name} ${number}`)) number += 1;
    return `${name} ${number}`;
  }

  function deleteBatch() {
    const gone = batch;
    const place = batches.indexOf(gone);
    batches.splice(place, 1);
    feedcalcKeeping.remove(gone.id);
    turnTo(batches[0] ?? add("Batch", empty()));
    toast(feedcalcWords.say("Deleted “{name}”.", { name: nameOf(gone) }), feedcalcWords.say("Undo"), () => {
      batches.splice(place, 0, gone);
      tellKept(feedcalcKeeping.store(gone));
      turnTo(gone);
    });
  }

  function toast(words, action = "", act = null) {
    byId("toast-words").textContent = words;
    byId("toast-action").textContent = action;
    byId("toast-action").hidden = !action;
    toastAction = act;
    byId("toast").hidden = false;
    say(words);
  }

  const exportAll = () => save(`feedcalc-batches-${localMoment().slice(0, 10)}.json`, feedcalcKeeping.envelope(batches));

  function save(name, text) {
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([text], { type: "application/json" }));
    link.download = name;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 60000);
  }

  function offer(found, title, from) {
    if (found.problem) return toast(found.problem);
    const here = new Map(batches.map((each) => [each.id, each]));
    const same = (one, other) => JSON.stringify([one.name, one.request]) === JSON.stringify([other.name, other.request]);
    const coming = found.batches.filter((each) => !(here.has(each.id) && same(each, here.get(each.id))));
    if (!coming.length) return toast(from === "link" ? feedcalcWords.say("Everything in this link is here already.") : feedcalcWords.say("Everything in this file is here already."));
    const clashing = coming.filter((each) => here.has(each.id));
    byId("preview-title").textContent = title;
    byId("preview-words").textContent = found.unreadable ? feedcalcWords.say("Some of it could not be read and is left out.") : "";
    byId("preview-list").replaceChildren(...coming.map((each) => {
      const item = document.createElement("li");
      const name = document.createElement("strong");
      name.textContent = nameOf(each);
      item.append(name, here.has(each.id) ? " (another version of one that is here): " : ": ", summaryOf(each.request));
      return item;
    }));
    byId("preview-keep").textContent = clashing.length ? feedcalcWords.say("Add, keeping mine too") : feedcalcWords.say("Add");
    byId("preview-replace").textContent = feedcalcWords.say("Replace mine");
    byId("preview-replace").hidden = !clashing.length;
    const dialog = byId("preview");
    dialog.returnValue = "no";
    dialog.onclose = () => {
      const decision = dialog.returnValue;
      if (decision !== "no") takeIn(coming, decision === "replace");
    };
    return dialog.showModal();
  }

  /** What a request asks, as text: every field that is filled in. */
  function summaryOf(request) {
    const { schema, ...told } = request;
    const words = JSON.stringify(told).replaceAll(/["{}[\]]/g, "").replaceAll(":", " ").replaceAll(",", ", ");
    return words.length > 300 ? `${words.slice(0, 299)}…` : words || "nothing filled in";
  }

  function takeIn(coming, replace) {
    const before = batches.map((each) => ({ ...each }));
    const current = batch.id;
    const taken = coming.map((each) => {
      const mine = batches.find(({ id }) => id === each.id);
      if (mine && replace) {
        Object.assign(mine, each);
        tellKept(feedcalcKeeping.store(mine));
        return mine;
      }
      return add(each.name || "Batch", each.request, each.done, mine ? newId() : each.id);
    });
    const left = turnTo(taken[0]);
    toast((taken.length === 1 ? feedcalcWords.say("Added “{name}”.", { name: nameOf(taken[0]) }) : feedcalcWords.say("Added {count} batches.", { count: taken.length })) + left, feedcalcWords.say("Undo"), () => {
      for (const { id } of batches) feedcalcKeeping.remove(id);
      batches = before;
      for (const each of batches) feedcalcKeeping.store(each);
      turnTo(batches.find(({ id }) => id === current) ?? batches[0]);
    });
  }

  function takeLink() {
    const found = feedcalcKeeping.readLink(location.hash);
    if (!found) return;
    feedcalcPlaces.go("batch");
    history.replaceState(null, "", location.href.replace(/#.*$/, ""));
    offer(found, feedcalcWords.say("A batch came with the link"), "link");
  }

  async function copyLink() {
    const text = `${location.href.replace(/#.*$/, "")}#${feedcalcKeeping.link(batch)}`;
    const place = byId("link-text");
    place.value = text;
    place.hidden = false;
    place.select();
    try {
      await navigator.clipboard.writeText(text);
      toast(feedcalcWords.say("Link copied. It holds the whole batch; whoever opens it sees a preview first."));
    } catch {
      toast(feedcalcWords.say("Copy the link from the box."));
    }
  }

  /** A batch with nothing filled in but the clock and how numbers are written where this browser is at home. */
  function empty() {
    const offered = [...byId("locale").options].map(({ value }) => value);
    const [language] = navigator.language.split("-");
    const locale = offered.find((value) => value === navigator.language)
      ?? offered.find((value) => value.startsWith(`${language}-`)) ?? byId("locale").dataset.usual;
    return { schema: 1, now: localMoment(), locale };
  }

  /** The clock of this machine as a datetime-local field writes it. */
  function localMoment() {
    const now = new Date();
    const two = (number) => String(number).padStart(2, "0");
    return `${now.getFullYear()}-${two(now.getMonth() + 1)}-${two(now.getDate())}T${two(now.getHours())}:${two(now.getMinutes())}`;
  }

  // ---- Start ----------------------------------------------------------------------------------------------

  function openBatches() {
    const example = feedcalcForm.read();
    batches = feedcalcKeeping.open();
    let wanted = null;
    try {
      wanted = sessionStorage.getItem(CURRENT) ?? localStorage.getItem(CURRENT);
    } catch { /* refused */ }
    byId("batches").hidden = false;
    if (batches.length) {
      tellKept(true);
      mark("stale", feedcalcWords.say("An example until the calculator is awake; your batch comes in a moment."));
      turnTo(batches.find(({ id }) => id === wanted) ?? batches[0]);
    } else {
      turnTo(add("Example", example));
    }
    tellUnreadable();
    takeLink();
  }

  /** What is stored but can't be read stays where it is; whoever can mend it may have it as it stands. */
  function tellUnreadable() {
    const spoilt = feedcalcKeeping.unreadable();
    const count = Object.keys(spoilt).length;
    if (!count) return;
    toast(feedcalcWords.say("Batches kept here that can't be read: {count}. They are left as they are.", { count }),
      feedcalcWords.say("Save them to a file"), () => save(`feedcalc-unreadable-${localMoment().slice(0, 10)}.json`, JSON.stringify(spoilt, null, 1)));
  }

  const STAGES = {
    fetching: () => feedcalcWords.say("Fetching the calculator"),
    unpacking: () => feedcalcWords.say("Unpacking the calculator"),
    starting: () => feedcalcWords.say("Starting the calculator"),
  };

  /** What to say where the browser lacks something that the calculator needs, or where this copy of the page is not whole. */
  const CAUSES = {
    WebAssembly: () => feedcalcWords.say("This browser has no WebAssembly; a strict security mode may have switched it off. Allow it for this page, or open the page in another browser."),
    Worker: () => feedcalcWords.say("This browser runs no programs in the background, which the calculator needs. Open the page in another browser."),
    DecompressionStream: () => feedcalcWords.say("This browser is too old to unpack the calculator. Open the page in a browser of 2023 or newer."),
    damaged: () => (html.hasAttribute("data-installable")
      ? feedcalcWords.say("A part of this page came incomplete or damaged. Try again; if this is told again, load the page anew later.")
      : feedcalcWords.say("This file is incomplete or damaged. Download or copy it again and put it in place of this one, under the same name; then what is kept is there again.")),
  };

  function startEngine() {
    const words = byId("state-words");
    const bar = byId("state-bar");
    feedcalcWords.show(words, "Getting the calculator ready. The example can be read meanwhile.");
    feedcalcEngine.startEngine({
      onStage: ({ name, done, total }) => {
        words.textContent = feedcalcWords.say("{stage}: {done} of {total} bytes.", { stage: STAGES[name](), done: done.toLocaleString(html.lang), total: total.toLocaleString(html.lang) });
        bar.hidden = false;
        bar.max = total;
        bar.value = done;
        byId("state-why").hidden = true;
        byId("try-again").hidden = true;
      },
      onReady: () => {
        words.textContent = "";
        bar.hidden = true;
      },
      onFailed: ({ message, cause }) => {
        bar.hidden = true;
        feedcalcWords.show(words, "The calculator can't start here. The sheet below stays readable, and its cautions hold for every batch. What you type is kept.");
        byId("state-why").textContent = CAUSES[cause]?.() ?? feedcalcWords.say("Reason: {message} Browser: {browser}", { message, browser: navigator.userAgent });
        byId("state-why").hidden = false;
        byId("try-again").hidden = false;
        say(words.textContent);
      },
    });
  }

  form.addEventListener("submit", (event) => event.preventDefault());
  form.addEventListener("input", ({ target }) => changed(target.tagName === "SELECT" ? null : target.name));
  form.addEventListener("change", () => { editing = null; });
  byId("add-can").addEventListener("click", () => feedcalcForm.addCan().focus());
  byId("cans").addEventListener("click", ({ target }) => {
    const button = target.closest("[data-remove-can]");
    if (!button) return;
    feedcalcForm.removeCan(button.closest(".can"));
    byId("add-can").focus();
    changed();
  });
  form.addEventListener("click", ({ target }) => {
    const button = target.closest("[data-now]");
    if (!button) return;
    byId(button.dataset.now).value = localMoment();
    changed();
  });
  answer.addEventListener("change", ({ target }) => {
    if (!target.dataset.step) return;
    batch.done = [...answer.querySelectorAll("[data-step]:checked")].map((box) => box.dataset.step);
    keep();
  });
  byId("undo").addEventListener("click", () => step(past, future));
  byId("redo").addEventListener("click", () => step(future, past));
  byId("batch-name").addEventListener("input", ({ target }) => {
    batch.name = target.value;
    showBatchName();
    keep();
    listBatches();
  });
  byId("batch-choice").addEventListener("change", ({ target }) => turnTo(batches.find(({ id }) => id === target.value)));
  byId("new-batch").addEventListener("click", () => {
    turnTo(add("Batch", empty()));
    byId("batch-name").select();
  });
  byId("duplicate-batch").addEventListener("click", () => turnTo(add(`${nameOf(batch)}, copy`, structuredClone(batch.request))));
  byId("delete-batch").addEventListener("click", deleteBatch);
  byId("export").addEventListener("click", exportAll);
  byId("import-file").addEventListener("change", async ({ target }) => {
    const [file] = target.files;
    if (file) offer(feedcalcKeeping.read(await file.text()), feedcalcWords.say("From the file {name}", { name: file.name }), "file");
    target.value = "";
  });
  byId("copy-link").addEventListener("click", copyLink);
  byId("print").addEventListener("click", () => window.print());
  byId("print-dry").addEventListener("click", () => window.print());
  byId("batch-to-book").addEventListener("click", () => feedcalcPlaces.go("book"));
  byId("print-label").hidden = false;
  byId("print-label").addEventListener("click", () => {
    html.dataset.print = "label";
    window.print();
  });
  window.addEventListener("afterprint", () => { delete html.dataset.print; });
  byId("try-again").addEventListener("click", () => {
    feedcalcEngine.restart();
    recalculate(0);
  });
  byId("toast-action").addEventListener("click", () => {
    byId("toast").hidden = true;
    toastAction?.();
  });
  byId("toast-close").addEventListener("click", () => { byId("toast").hidden = true; });
  byId("take-update").addEventListener("click", () => {
    keep();
    feedcalcOffline.takeUpdate();
  });
  window.addEventListener("hashchange", takeLink);
  document.addEventListener("feedcalc-language", () => { // every answer is asked for anew, in the language chosen
    for (const place of Object.keys(answered)) delete answered[place];
    tellKept(stored);
    if (batch) recalculate(0);
  });
  const flush = () => { if (!stored) keep(); }; // every key is stored at once; what could not be is tried again
  document.addEventListener("visibilitychange", () => { if (document.visibilityState === "hidden") flush(); });
  window.addEventListener("pagehide", flush);
  feedcalcKeeping.watch(() => {
    const mine = batch;
    batches = feedcalcKeeping.open();
    const theirs = batches.find(({ id }) => id === mine.id);
    if (!theirs) batches.unshift(mine);
    else if (theirs.changed > mine.changed) {
      const before = editedHere ? [...past, JSON.stringify(mine.request)] : past;
      turnTo(theirs);
      past = before;
      tellHistory();
      toast(feedcalcWords.say("This batch was changed in another window."), before.length ? feedcalcWords.say("Undo") : "", () => step(past, future));
      return;
    } else batches[batches.indexOf(theirs)] = mine;
    listBatches();
  });

  feedcalcPlaces.start(placeChanged);
  feedcalcAshes.start({ request: () => feedcalcForm.askedAt("batch", batch?.request ?? {}), use: takeAsh, toast });
  openBatches();
  feedcalcLabels.start({ current: () => batch, all: () => batches });
  startEngine();
  feedcalcOffline.watch({
    onReady: () => {
      feedcalcWords.show(byId("offline-words"), "Ready offline.");
      byId("offline-words").hidden = false;
    },
    onUpdate: () => {
      feedcalcWords.show(byId("offline-words"), "A new version is here.");
      byId("offline-words").hidden = false;
      byId("take-update").hidden = false;
    },
    onUnavailable: (reason) => {
      if (reason === "one file") return;
      feedcalcWords.show(byId("offline-words"), "This browser can't keep the page for use without a network.");
      byId("offline-words").hidden = false;
    },
  });
  byId("cut").remove();
}
