// One question on the screen: a guess, the run, what came out, one sentence why.

const CHOICES = ["a", "b", "c"];

const questions_here = () => QUESTIONS.filter((question) => question.needs());

/** The answers so far: {guess, drawn, done: {facts, right}} by the id of the question. */
const answered = {};

function dots_html(list) {
  const now = state.question;
  return (
    `<nav aria-label="${escaped(t("ask.all"))}" class="dots">` +
    list
      .map((question, k) => {
        const done = answered[question.id]?.done;
        const words = t(done ? "ask.dot_done" : "ask.dot", { n: k + 1 });
        return `<button type="button" data-go="${k}" aria-label="${escaped(words)}"${k === now ? ' aria-current="step"' : ""}${done ? ' class="done"' : ""}>${k + 1}</button>`;
      })
      .join("") +
    "</nav>"
  );
}

function choices_html(question) {
  const mine = answered[question.id] || {};
  return (
    `<fieldset class="guess"><legend>${escaped(t("ask.guess"))}</legend>` +
    CHOICES.map((choice) => {
      const right = mine.done && mine.done.right === choice ? ` <strong>${escaped(t("ask.came_out"))}</strong>` : "";
      const yours = mine.done && mine.guess === choice ? ` <em>${escaped(t("ask.yours"))}</em>` : "";
      return `<label><input type="radio" name="guess" value="${choice}"${mine.guess === choice ? " checked" : ""}${mine.done ? " disabled" : ""}> <span>${escaped(t(`q.${question.id}.${choice}`))}${right}${yours}</span></label>`;
    }).join("") +
    "</fieldset>"
  );
}

/** Rows "what: number" of what came out. */
function facts_html(question, facts) {
  const rows = facts.map((fact, k) => {
    const what = t(`q.${question.id}.facts.${k + 1}`);
    return `<tr><th scope="row">${escaped(what)}</th><td>${escaped(fact)}</td></tr>`;
  });
  return `<table class="facts"><caption>${escaped(t("ask.facts"))}</caption><tbody>${rows.join("")}</tbody></table>`;
}

function reason_html(question, done) {
  const as_expected = done.right === question.expected;
  return `<p class="why">${escaped(as_expected ? t(`q.${question.id}.why`) : t("ask.otherwise"))}</p>`;
}

function show_question() {
  const list = questions_here();
  const question = list[state.question];
  const mine = answered[question.id] || {};
  const box = element("asking");
  const done = mine.done;
  box.innerHTML =
    dots_html(list) +
    `<h2 id="asked">${escaped(t(`q.${question.id}.ask`))}</h2>` +
    choices_html(question) +
    (question.caution ? `<p class="hint caution">${escaped(t("ask.caution"))}</p>` : "") +
    (done ? facts_html(question, done.facts) + reason_html(question, done) : "") +
    `<p class="buttons">${done ? `<button type="button" id="again">${escaped(t("ask.again"))}</button> ` : `<button type="button" id="run"${mine.guess ? "" : " disabled"}>${escaped(t("ask.run"))}</button> `}` +
    `<button type="button" id="next"${state.question + 1 < list.length ? "" : " disabled"}>${escaped(t("ask.next"))}</button></p>`;
  element("draw_hint").hidden = Boolean(done);
  element("plot_voltage").classList.toggle("open", !done);
  for (const radio of box.querySelectorAll("input[name=guess]"))
    radio.addEventListener("change", () => {
      answered[question.id] = { ...answered[question.id], guess: radio.value };
      element("run").disabled = false;
    });
  for (const button of box.querySelectorAll("[data-go]")) button.addEventListener("click", () => go_to_question(Number(button.dataset.go)));
  element("run")?.addEventListener("click", () => run_question(question));
  element("again")?.addEventListener("click", () => {
    answered[question.id] = {};
    go_to_question(state.question);
  });
  element("next").addEventListener("click", () => go_to_question(state.question + 1));
}

async function go_to_question(k, move_focus = true) {
  state.question = k;
  const question = questions_here()[k];
  show_question();
  say("");
  fault("");
  const done = answered[question.id]?.done;
  if (done)
    show_runs(done.runs, done.cells, names_of(question), { view: question.view ?? "grains", pause_at: question.pause_at?.(done.runs) ?? null });
  else await show_start(question);
  element("asked").setAttribute("tabindex", "-1");
  if (move_focus) element("asked").focus({ preventScroll: true });
}

const names_of = (question) => (question.names || []).map((name) => t(`run.${name}`));

/** The cell before the run, at rest, and the axes to draw a guess into. */
async function show_start(question) {
  const one = await solver.latest([{ cell: "cell", row: asked_row({}, [{ rate: -1 }]) }]);
  if (!one || !one[0].run || questions_here()[state.question] !== question || answered[question.id]?.done) return;
  show_runs([one[0].run], ["cell"], [], { view: question.view ?? "grains", only_start: true });
}

/** The runs of a question; the first ones, where the question asks for them, tell what the others shall be. */
async function runs_of(question) {
  let before = [];
  if (question.first) {
    before = await solver.all(question.first());
    if (before.some((one) => one.fault)) return before;
  }
  const asked = question.asked(before.map((one) => one.run));
  const done = await solver.all(asked);
  return done.map((one, k) => ({ ...one, cell: asked[k].cell }));
}

async function done_of(question) {
  const done = await runs_of(question);
  const failed = done.find((one) => one.fault);
  if (failed) return { fault: failed.fault };
  const runs = done.map((one) => one.run);
  return { runs, cells: done.map((one) => one.cell), facts: question.facts(runs), right: question.right(runs) };
}

async function run_question(question) {
  element("run").disabled = true;
  const done = await done_of(question);
  if (done.fault) {
    fault(t("fault.engine", { what: done.fault }));
    element("run").disabled = false;
    return;
  }
  answered[question.id] = { ...answered[question.id], done };
  show_question();
  show_runs(done.runs, done.cells, names_of(question), {
    view: question.view ?? "grains",
    play: true,
    pause_at: question.pause_at?.(done.runs) ?? null,
  });
  const guess = answered[question.id].guess;
  say(t(guess === done.right ? "ask.agrees" : "ask.differs"));
  if (matchMedia("(max-width: 820px)").matches) element("picture").scrollIntoView({ block: "start" });
  element("again").focus({ preventScroll: true });
}
