// The form as a request and back. The name of a field is its path in the request; what stands in it is sent as typed.
//
//   feedcalcForm.read()          the request in the form; empty fields are left out
//   feedcalcForm.askedAt(place, request)   the request without the fields that this place does not ask for (places.js)
//   feedcalcForm.write(request)  fill the form; returns the paths of what it has no field for
//   feedcalcForm.addCan()        another row of cans, empty; returns its first field
//   feedcalcForm.removeCan(row)
//   feedcalcForm.tell(reply)     assumptions, readings and errors, each at its field

"use strict";

const feedcalcForm = (() => {
  const form = document.getElementById("batch");
  const cans = document.getElementById("cans");
  const canTemplate = document.getElementById("can-template");
  const summary = document.getElementById("error-summary");
  const SCHEMA = 1;
  let earlier = null; // earlier batches of this ash: not typed, but of the request all the same

  const fields = () => [...form.elements].filter((element) => element.name);
  const isList = (value) => Array.isArray(value);

  function read() {
    const request = { schema: SCHEMA };
    for (const { name, value } of fields()) {
      if (!value.trim()) continue;
      const steps = name.split(".");
      const last = steps.pop();
      let place = request;
      steps.forEach((step, depth) => {
        if (!Object.hasOwn(place, step)) place[step] = /^\d+$/.test(steps[depth + 1] ?? last) ? [] : {};
        place = place[step];
      });
      place[last] = value;
    }
    if (earlier) request.ash = { ...request.ash, earlier: structuredClone(earlier) };
    if (request.cans) request.cans = request.cans.filter(Boolean);
    return request;
  }

  function askedAt(place, request) {
    const asked = structuredClone(request);
    for (const field of fields()) {
      const places = field.closest("[data-for]")?.dataset.for.split(" ") ?? [place];
      if (places.includes(place)) continue;
      const steps = field.name.split(".");
      const last = steps.pop();
      if (isList(asked[steps[0]])) delete asked[steps[0]];
      const above = steps.reduce((part, step) => part?.[step], asked);
      if (above) delete above[last];
    }
    return withoutEmpty(asked);
  }

  function withoutEmpty(part) {
    for (const [key, below] of Object.entries(part)) {
      if (typeof below !== "object" || below === null || isList(below)) continue;
      if (!Object.keys(withoutEmpty(below)).length) delete part[key];
    }
    return part;
  }

  /** What stands at each path of a request: {"water.amount": "5 L"}. */
  function flat(value, path = "", found = {}) {
    if (isList(value) || (typeof value === "object" && value !== null)) {
      for (const [key, below] of Object.entries(value)) flat(below, path ? `${path}.${key}` : key, found);
    } else if (value !== null && value !== undefined) {
      found[path] = String(value);
    }
    return found;
  }

  function write(request) {
    const values = flat(request);
    delete values.schema;
    earlier = isList(request.ash?.earlier) && request.ash.earlier.length ? structuredClone(request.ash.earlier) : null;
    for (const path of Object.keys(values)) if (path.startsWith("ash.earlier.")) delete values[path];
    const rows = isList(request.cans) ? request.cans.slice(0, 20) : [];
    cans.replaceChildren();
    for (let row = 0; row < rows.length || row === 0; row++) addCan();
    for (const field of fields()) {
      const value = Object.hasOwn(values, field.name) ? values[field.name] : "";
      delete values[field.name];
      if (field.tagName !== "SELECT") {
        field.value = value;
        continue;
      }
      const options = [...field.options];
      field.querySelector("[data-unknown]")?.remove();
      const offered = options.some((option) => option.value === value && !option.dataset.unknown);
      if (value && !offered) { // an unknown choice is shown and refused by the engine, not silently changed
        const option = new Option(value, value);
        option.dataset.unknown = "";
        field.add(option);
      }
      field.value = value || field.dataset.usual;
    }
    openWhatIsFilled();
    return Object.keys(values);
  }

  function openWhatIsFilled() {
    for (const details of form.querySelectorAll("details")) {
      if ([...details.querySelectorAll("input")].some((input) => input.value)) details.open = true;
    }
  }

  function addCan() {
    const row = canTemplate.content.firstElementChild.cloneNode(true);
    cans.append(row);
    feedcalcWords.follow(row);
    renumber();
    return row.querySelector("input");
  }

  function removeCan(row) {
    row.remove();
    renumber();
  }

  function renumber() {
    [...cans.children].forEach((row, place) => {
      const renamed = (text) => text.replaceAll(/cans\.\w+\./g, `cans.${place}.`);
      for (const element of row.querySelectorAll("*")) {
        for (const attribute of ["id", "name", "for", "aria-describedby", "data-error", "data-echo"]) {
          if (element.hasAttribute(attribute)) element.setAttribute(attribute, renamed(element.getAttribute(attribute)));
        }
      }
    });
  }

  function fieldAt(path) {
    const named = fields();
    return named.find(({ name }) => name === path) ?? named.find(({ name }) => name.startsWith(path + ".")) ?? null;
  }

  function tell(reply) {
    for (const field of fields()) field.removeAttribute("aria-invalid");
    for (const place of form.querySelectorAll("[data-error]")) {
      place.hidden = true;
      place.textContent = "";
    }
    if (reply.ok) tellReadings(reply);
    tellErrors(reply.ok ? [] : reply.errors);
  }

  function tellReadings({ assumed, read_as: readings }) {
    for (const place of form.querySelectorAll("[data-echo]")) {
      const path = place.dataset.echo;
      const field = fieldAt(path);
      const typed = Boolean(field?.value);
      const echo = typed ? readings[path] && feedcalcWords.say("Read as {amount}.", { amount: readings[path] }) : assumed[path] && feedcalcWords.say("Taken: {amount}.", { amount: assumed[path] });
      place.textContent = echo || "";
    }
  }

  function tellErrors(errors) {
    const items = errors.map(({ field: path, given, problem, accepted }) => {
      const item = document.createElement("li");
      const field = fieldAt(path);
      const words = `${problem} Try ${accepted}.`;
      if (field) {
        const place = form.querySelector(`[data-error="${CSS.escape(field.name)}"]`);
        place.textContent = place.textContent ? `${place.textContent} ${words}` : words;
        place.hidden = false;
        form.querySelector(`[data-echo="${CSS.escape(field.name)}"]`).textContent = "";
        field.setAttribute("aria-invalid", "true");
        field.closest("details")?.setAttribute("open", "");
        const link = document.createElement("a");
        link.href = `#${field.id}`;
        link.textContent = `${form.querySelector(`label[for="${CSS.escape(field.id)}"]`).textContent}:`;
        link.addEventListener("click", (event) => {
          event.preventDefault();
          field.focus();
        });
        item.append(link, " ");
      }
      item.append(given ? `“${given}”: ${words}` : words);
      return item;
    });
    document.getElementById("error-list").replaceChildren(...items);
    summary.hidden = !errors.length;
  }

  return { read, askedAt, write, addCan, removeCan, tell };
})();
