// Everything around the photo: the task card, the tools' names and the lists.

function element(name, { text = "", ...attributes } = {}, ...children) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  if (text) made.textContent = text;
  made.append(...children);
  return made;
}

const filled = (text, values) => text.replace(/\{(\w+)\}/g, (whole, key) => values[key] ?? whole);

class Panel {
  constructor(root) {
    this.root = root;
    this.find = (selector) => root.querySelector(selector);
    this.lists = this.find(".lists");
    this.dogs = [...root.querySelectorAll(".dog")];
  }

  titleOf(id) {
    const { data } = this;
    const words = data.words;
    const [kind, name] = id.split(".");
    if (kind === "mark") return words[`title.${name}`];
    if (kind === "bend") return filled(words.bend, { span: words[`span.${name}`] });
    return filled(words[`point.${data.shape}`], { number: Number(name) + 1 });
  }

  hintOf(id) {
    const [kind, name] = id.split(".");
    const key = kind === "mark" ? name : kind === "bend" ? "bend" : this.data.shape;
    return this.data.words[`hint.${key}`];
  }

  // Everything that depends on the data alone.
  build(data, steps) {
    this.data = data;
    const { words } = data;
    // The drawing that shows what is to be placed: the dog from the side, or from the front.
    const [first] = data.landmarks;
    const shows = (dog) => dog.querySelector(`[data-landmark="${first}"]`);
    this.dog = this.dogs.find(shows) || this.dogs[0];
    for (const dog of this.dogs) dog.toggleAttribute("hidden", dog !== this.dog);
    this.find(".surface").setAttribute("aria-label", words.surface);
    this.find(".overlay").setAttribute("aria-label", data.readOnly ? words.picture_view : words.picture);
    for (const button of this.root.querySelectorAll("button.tool")) {
      button.setAttribute("aria-label", words[button.dataset.do]);
      button.setAttribute("title", words[button.dataset.do]);
    }
    this.find("[data-do=remove]").textContent = words.remove;
    this.find("[data-do=load]").textContent = words.load_again;
    this.find(".step-name").textContent = words.step;
    const select = this.find("select");
    const chosen = select.value || "medium";
    select.replaceChildren(
      ...Object.entries(steps).map(([name, px]) =>
        element("option", { value: name, text: filled(words.step_px, { name: words[`step.${name}`], px }) }),
      ),
    );
    select.value = chosen;
    select.title = words.step_note;
    this.find("[data-group=pad]").hidden = data.readOnly;
    this.find("[data-group=history]").hidden = data.readOnly;
    const pad = this.find("[data-group=pad]");
    const summary = pad.querySelector("summary");
    // At a desk there is room for all.
    if (!summary.textContent) pad.open = this.find(".layout").clientWidth >= 560;
    summary.textContent = words.finer;
    this.find(".question").hidden = data.readOnly;
    this.buildTask();
    this.buildLists();
  }

  // Every text lies in the same place, all but one unseen: the card keeps its height, so that
  // the photo below does not move under a finger.
  buildTask() {
    const { data } = this;
    const { words } = data;
    const texts = [...data.landmarks, ...data.optional].map((name) => [
      `mark.${name}`, words[`title.${name}`], words[`hint.${name}`],
    ]);
    for (const span of Object.keys(data.spans))
      texts.push([`bend.${span}`, this.titleOf(`bend.${span}.0`), words["hint.bend"]]);
    if (data.shape !== "none")
      texts.push(["point", this.titleOf("point.0"), words[`hint.${data.shape}`]]);
    texts.push(["done", words.all_placed, words.all_placed_hint]);
    texts.push(["nothing", words.nothing, words.nothing_hint]);
    if (data.readOnly) texts.splice(0, texts.length, ["done", words.view_only, words.view_only_hint]);
    this.texts = new Map(texts.map(([id, title, hint]) => [
      id,
      element("div", { class: "task-text" },
        element("p", { class: "task-title", text: title }),
        element("p", { class: "task-hint", text: hint })),
    ]));
    this.find(".task-texts").replaceChildren(...this.texts.values());
  }

  buildLists() {
    const { data } = this;
    const { words } = data;
    const opened = [...this.lists.querySelectorAll("details[open] > summary")];
    this.opened = new Set(opened.map((summary) => summary.textContent));
    this.lists.replaceChildren();
    if (data.readOnly) return;
    const marks = (names) => names.map((name) => this.chip(`mark.${name}`));
    if (data.landmarks.length) this.list(words.marks, marks(data.landmarks));
    if (data.shape !== "none") this.list(words.reference, this.referenceChips(), "reference");
    if (data.optional.length) this.more(words.optional, marks(data.optional));
    // A line shows once both its ends can be placed.
    const names = [...data.landmarks, ...data.optional];
    const possible = Object.entries(data.spans).filter(([, { ends }]) => ends.every((end) => names.includes(end)));
    const spans = possible.map(([span, { colour }]) => {
      const swatch = element("span", { class: "swatch", "aria-hidden": "true" });
      swatch.style.background = colour;
      const text = filled(words.add_bend, { span: words[`span.${span}`] });
      return element("button", { type: "button", class: "chip", "data-bend": span }, swatch, text);
    });
    if (spans.length) this.more(words.line, spans, words.line_help);
  }

  list(title, chips, kind = "") {
    const id = `title-${this.lists.children.length}`;
    const group = element("div", { class: `list ${kind}`, role: "group", "aria-labelledby": id });
    group.append(element("p", { class: "list-title", id, text: title }));
    group.append(element("div", { class: "chips" }, ...chips));
    this.lists.append(group);
  }

  // What most people can do without.
  more(title, chips, note = "") {
    const group = element("details", { class: "list" }, element("summary", { text: title }));
    group.open = this.opened?.has(title) || false;
    group.append(element("div", { class: "chips" }, ...chips));
    if (note) group.append(element("p", { class: "note", text: note }));
    this.lists.append(group);
  }

  chip(id) {
    const state = element("span", { class: "state", "aria-hidden": "true" });
    const spoken = element("span", { class: "unseen" });
    const attributes = { type: "button", class: "chip", "data-pick": id };
    return element("button", attributes, state, this.titleOf(id), spoken);
  }

  referenceChips() {
    const { data } = this;
    const { words } = data;
    const action = (name, text) =>
      element("button", { type: "button", class: "chip", "data-do": name, text });
    const chips = [
      element("span", { class: "note found", text: words.reference_seen }),
      action("correct", words.reference_correct),
      action("found_again", words.reference_found_again),
    ];
    if (data.shape === "outline") return [...chips, action("add_outline", words.add_outline)];
    const points = Array.from({ length: data.needed[0] }, (_, i) => this.chip(`point.${i}`));
    return [...chips, ...points];
  }

  // Everything that depends on what is placed and chosen.
  update(state) {
    const { placed, active, history } = state;
    const { data } = this;
    const { words } = data;
    for (const chip of this.lists.querySelectorAll("[data-pick]")) {
      const id = chip.dataset.pick;
      const has = Boolean(pointOf(placed, id));
      chip.classList.toggle("done", has);
      chip.setAttribute("aria-pressed", String(id === active));
      chip.querySelector(".unseen").textContent = `, ${has ? words.placed : words.not_placed}`;
    }
    for (const chip of this.lists.querySelectorAll("[data-bend]")) {
      const span = chip.dataset.bend;
      const full = (placed.bends[span] || []).length >= data.mostBends;
      chip.disabled = full || !lineOf(placed, span, data.spans[span].ends);
    }
    this.updateReference(placed);
    this.find("[data-do=undo]").disabled = !history.undo.length;
    this.find("[data-do=redo]").disabled = !history.redo.length;
    this.updateTask(state);
    this.updateHere(state);
  }

  // Below the photo: what is told of the marks, else the mark in question, large.
  updateHere({ placed, active, asked, turn, shownClose, looking, mayPlaceAtCross }) {
    const { data } = this;
    const { words, told } = data;
    const tells = Boolean(told && told.turn === turn);
    const says = this.find(".told");
    if (says.hidden === tells) says.hidden = !tells;
    if (says.textContent !== (tells ? told.text : "")) says.textContent = tells ? told.text : "";
    this.find(".question").classList.toggle("telling", tells);
    const right = this.find("[data-do=put_right]");
    right.hidden = !tells || !told.action;
    right.textContent = tells ? told.action : "";
    const finger = matchMedia("(pointer: coarse)").matches;
    const begin = finger ? words.hold_and_slide : words.click_and_drag;
    const confirm = this.find("[data-do=confirm]");
    confirm.hidden = tells || !asked || mayPlaceAtCross;
    confirm.textContent = words.confirm;
    this.find(".question-words").replaceChildren(
      ...(asked && !mayPlaceAtCross
        ? [element("strong", { text: words.is_it_here }), ` ${words.else_drag}`]
        : shownClose && !mayPlaceAtCross
        ? [element("strong", { text: words.here }), ` ${this.titleOf(shownClose)}`] : [begin]));
    const again = this.find("[data-do=again]");
    again.textContent = mayPlaceAtCross ? words.place_here : words.place_again;
    again.disabled = !mayPlaceAtCross && (!shownClose || shownClose.startsWith("bend."));
    again.hidden = tells || (!mayPlaceAtCross && (!shownClose || Boolean(asked)));
    const ids = idsOf(placed, data).filter((id) => !id.startsWith("bend."));
    const look = this.find("[data-do=look]");
    const missing = nextToPlace(placed, data, null);
    look.hidden = tells || Boolean(missing) || !ids.length || Boolean(active && !pointOf(placed, active));
    look.textContent = !looking ? words.look_each : looking === ids.at(-1) ? words.look_done : words.look_next;
  }

  updateReference(placed) {
    const group = this.lists.querySelector(".reference");
    if (!group) return;
    const own = placed.reference.length > 0;
    const seen = this.data.seen.length > 0;
    const show = (selector, shown) => {
      for (const item of group.querySelectorAll(selector)) item.hidden = !shown;
    };
    show(".found, [data-do=correct]", seen && !own);
    show("[data-do=found_again]", seen && own);
    show("[data-pick], [data-do=add_outline]", own || !seen);
    const add = group.querySelector("[data-do=add_outline]");
    if (add) add.disabled = placed.reference.length >= this.data.needed[1];
  }

  updateTask({ placed, active, latest, looking }) {
    const { data } = this;
    const { words } = data;
    const missing = active && !pointOf(placed, active);
    const done = data.landmarks.filter((name) => placed.marks[name]).length;
    const count = data.landmarks.length
      ? filled(words.step_count, { done, total: data.landmarks.length }) : "";
    let shown = !data.readOnly && nextToPlace(placed, data, null) ? "nothing" : "done";
    // What was placed last was asked for; that all are placed is the news.
    const over = active === latest && !missing && !looking && shown === "done";
    const doing = active && !over ? (missing ? words.now : words.chosen) : "";
    const lead = data.readOnly ? "" : [doing, count].filter(Boolean).join(" · ");
    if (active && !over) shown = active.startsWith("point.") ? "point" : active.split(".").slice(0, 2).join(".");
    if (shown === "point")
      this.texts.get("point").querySelector(".task-title").textContent = this.titleOf(active);
    for (const [id, text] of this.texts) text.classList.toggle("shown", id === shown);
    this.find(".task").classList.toggle("to-place", Boolean(missing));
    this.find(".task-lead").textContent = lead;
    const chosen = active && !missing;
    this.find("[data-do=remove]").disabled = !chosen;
    for (const button of this.root.querySelectorAll("[data-group=pad] button"))
      button.disabled = !active;
    const [kind, name] = (active || "").split(".");
    for (const point of this.dog.querySelectorAll("[data-landmark]"))
      point.classList.toggle("here", kind === "mark" && point.dataset.landmark === name);
    for (const line of this.dog.querySelectorAll("[data-span]"))
      line.classList.toggle("here", kind === "bend" && line.dataset.span === name);
    this.dog.querySelector(".dog-object").classList.toggle("here", kind === "point");
    // The drawing looks the same way as the dog in the photo, once that is known.
    const { breastbone, tail_base: tail, shoulder_top: top } = { ...data.proposed, ...placed.marks };
    const behind = tail || top;
    this.dog.classList.toggle("right", Boolean(breastbone && behind && breastbone[0] > behind[0]));
  }
}
