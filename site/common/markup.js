// The one door by which text becomes markup or a program on this page. Browsers that know Trusted Types shut every
// other: the page's policy names this one rule, and nobody can make another.
//
//   feedcalcMarkup.partsOf(markup)   nodes made of the engine's own markup, in which all that a person typed is escaped
//   feedcalcMarkup.worker(program)   a worker that runs our own program
//   feedcalcMarkup.keeper()          the address of our service worker, to be registered

"use strict";

const feedcalcMarkup = (() => {
  const OURS = ["service_worker.js"];
  const addresses = new Set(OURS);
  const rule = {
    createHTML: (markup) => markup,
    createScriptURL(address) {
      if (!addresses.has(address)) throw new TypeError("this is no program of the page");
      return address;
    },
  };
  const trusted = window.trustedTypes?.createPolicy("feedcalc", rule) ?? rule;

  const partsOf = (markup) => [...new DOMParser().parseFromString(trusted.createHTML(markup), "text/html").body.childNodes];

  function worker(program) {
    const address = URL.createObjectURL(new Blob([program], { type: "text/javascript" }));
    addresses.add(address);
    return new Worker(trusted.createScriptURL(address));
  }

  const keeper = () => trusted.createScriptURL(OURS[0]);

  return { partsOf, worker, keeper };
})();
