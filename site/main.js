// The page: its parts are started in the order in which they need each other. What the bundle gives the page under the
// name `feedcalc` is listed at the end.

import { today } from "./common/clock.js";
import { byId, download, onFile } from "./common/dom.js";
import { startNotices } from "./common/notices.js";
import { go, startPlaces } from "./common/places.js";
import { say, sayIn, show, startWords } from "./common/words.js";
import { placeChanged } from "./bench/answers.js";
import { startBench } from "./bench/bench.js";
import { openText as openBatches } from "./bench/exchange.js";
import * as form from "./bench/form.js";
import { keep } from "./bench/keeping.js";
import { stepsPlaceChanged } from "./bench/steps.js";
import { startRecipe } from "./bench/recipe.js";
import { startBook } from "./book/book.js";
import { bookText, openText as openBook } from "./book/files.js";
import { startToBook } from "./book/to_book.js";
import * as offline from "./offline/offline.js";
import * as batchFiles from "./store/batch_files.js";
import { startChanges } from "./store/changes.js";
import { state } from "./store/state.js";

/** @param {import("./common/words.js").Words} words */
function tellOffline(words) {
  show(byId("offline-words"), words);
  byId("offline-words").hidden = false;
}

/** One file holds all that is kept here: batches, ashes and book. */
function startFiles() {
  byId("save-everything").addEventListener("click", async () => {
    download(`feedcalc-${today()}.json`, batchFiles.wholeFile(state.batches, await bookText()), "application/json");
  });
  onFile("everything-file", async (file) => {
    byId("menu", HTMLDetailsElement).open = false;
    const { batches, book } = batchFiles.partsOfFile(file.name, await file.text());
    if (batches) await openBatches(batches, file.name);
    if (!book) return;
    go("book");
    await openBook(book, file.name);
  });
}

function startOffline() {
  byId("take-update").addEventListener("click", () => {
    keep();
    offline.takeUpdate();
  });
  offline.watch({
    onReady: () => tellOffline(() => sayIn("said after it was done", "Ready offline.")),
    onUpdate: () => {
      tellOffline(() => say("A new version is here."));
      byId("take-update").hidden = false;
    },
    onUnavailable: (reason) => {
      if (reason !== "one file") tellOffline(() => say("This browser can't keep the page for use without a network."));
    },
  });
}

startWords();
startNotices();
startChanges({ request: form.read });
startPlaces((place) => {
  placeChanged(place);
  stepsPlaceChanged(place);
});
startBench();
startRecipe();
startFiles();
startOffline();
byId("cut").remove();
const batch = () => ({ name: byId("batch-name", HTMLInputElement).value, request: form.read() });
startBook({ batch });
startToBook(batch);

export { batchFiles, form, offline };
export * as batches from "./store/batches.js";
export * as changes from "./store/changes.js";
export * as engine from "./engine/client.js";
export * as journal from "./store/journal.js";
export * as markup from "./common/markup.js";
export * as records from "./store/records.js";
export * as words from "./common/words.js";
