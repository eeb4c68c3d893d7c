// A sheet for the class: what is printed is not the page but a worksheet per question, and on request what came out.

/** Empty axes of the voltage to draw a guess on, with the ticks of the run. */
function empty_axes(run) {
  const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  svg.setAttribute("class", "sheet-axes");
  const most = run.milliampere_hours(run.cell.capacity) * 1.05;
  draw_axes(svg, {
    title: t("plot.voltage"),
    height: 250,
    x: { title: t("plot.capacity"), low: 0, high: most },
    y: { low: run.cell.lower - 0.1, high: run.cell.upper + 0.1 },
  });
  return svg.outerHTML;
}

function sheet_table(question, facts) {
  const count = facts ? facts.length : Object.keys(LANGUAGES.en).filter((key) => key.startsWith(`q.${question.id}.facts.`)).length;
  const rows = Array.from(
    { length: count },
    (_, k) => `<tr><th scope="row">${escaped(t(`q.${question.id}.facts.${k + 1}`))}</th><td></td><td>${facts ? escaped(facts[k]) : ""}</td></tr>`,
  );
  return `<table><thead><tr><th></th><th>${escaped(t("sheet.guess"))}</th><th>${escaped(t("sheet.result"))}</th></tr></thead><tbody>${rows.join("")}</tbody></table>`;
}

const sheet_choices = (question, right) =>
  `<ul class="boxes">${CHOICES.map((choice) => `<li>${choice === right ? "\u2612" : "\u2610"} ${escaped(t(`q.${question.id}.${choice}`))}</li>`).join("")}</ul>`;

function sheet_html(list, start, done) {
  const answers = done.length > 0;
  return list
    .map(
      (question, k) =>
        `<article><p class="kicker">${escaped(PAGE.name)} \u00b7 ${escaped(t(answers ? "sheet.answers" : "sheet.title"))}</p>` +
        `<h2>${k + 1}. ${escaped(t(`q.${question.id}.ask`))}</h2>` +
        `<h3>${escaped(t(answers ? "sheet.came_out" : "sheet.tick"))}</h3>${sheet_choices(question, answers ? done[k].right : null)}` +
        (answers ? "" : `<h3>${escaped(t("sheet.draw"))}</h3>${empty_axes(start)}`) +
        sheet_table(question, answers ? done[k].facts : null) +
        (answers ? reason_html(question, done[k]) : `<h3>${escaped(t("sheet.why"))}</h3><p class="lines"></p><p class="lines"></p>`) +
        (question.caution ? `<p class="hint">${escaped(t("ask.caution"))}</p>` : "") +
        "</article>",
    )
    .join("");
}

/** Makes the sheets and prints. The answers are those of the solver, run now where they are not there yet. */
async function print_sheet(with_answers) {
  const list = questions_here();
  const [one] = await solver.all([{ cell: "cell", row: asked_row({}, [{ rate: -1 }]) }]);
  const box = element("worksheet");
  box.innerHTML = sheet_html(list, one.run, []);
  if (with_answers) {
    const done = [];
    for (const question of list) done.push(answered[question.id]?.done ?? (await done_of(question)));
    const sound = list.map((question, k) => (done[k].fault ? null : k)).filter((k) => k !== null);
    box.innerHTML += sheet_html(
      sound.map((k) => list[k]),
      one.run,
      sound.map((k) => done[k]),
    );
  }
  box.dataset.ready = with_answers ? "answers" : "sheet";
  window.print();
}
