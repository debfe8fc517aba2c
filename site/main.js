// The page: its parts are started in the order in which they need each other. What the bundle gives the page under the
// name `feedcalc` is listed at the end.

import { byId } from "./common/dom.js";
import { startNotices } from "./common/notices.js";
import { startPlaces } from "./common/places.js";
import { say, show, startWords } from "./common/words.js";
import { placeChanged } from "./bench/answers.js";
import { startBench } from "./bench/bench.js";
import * as form from "./bench/form.js";
import { keep } from "./bench/keeping.js";
import { stepsPlaceChanged } from "./bench/steps.js";
import { startBook } from "./book/book.js";
import { startToBook } from "./book/to_book.js";
import * as offline from "./offline/offline.js";
import { startChanges } from "./store/changes.js";

/** @param {import("./common/words.js").Words} words */
function tellOffline(words) {
  show(byId("offline-words"), words);
  byId("offline-words").hidden = false;
}

function startOffline() {
  byId("take-update").addEventListener("click", () => {
    keep();
    offline.takeUpdate();
  });
  offline.watch({
    onReady: () => tellOffline(() => say("Ready offline.")),
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
startOffline();
byId("cut").remove();
const batch = () => ({ name: byId("batch-name", HTMLInputElement).value, request: form.read() });
startBook({ batch });
startToBook(batch);

export { form, offline };
export * as batches from "./store/batches.js";
export * as batchFiles from "./store/batch_files.js";
export * as changes from "./store/changes.js";
export * as engine from "./engine/client.js";
export * as journal from "./store/journal.js";
export * as markup from "./common/markup.js";
export * as records from "./store/records.js";
export * as words from "./common/words.js";
