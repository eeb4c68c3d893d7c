// What can be changed while trying freely: sliders over values of the cell, each with its range, and how it is written.

// A slider has places 0..count; `at` tells the value of one, `place` the one of a value.
const times = (low, high) => ({
  count: 200,
  start: 1,
  at: (k) => low * (high / low) ** (k / 200),
  place: (v) => Math.round((200 * Math.log(v / low)) / Math.log(high / low)),
});
const plain = (low, high, step, start) => ({
  count: Math.round((high - low) / step),
  start,
  at: (k) => low + k * step,
  place: (v) => Math.round((v - low) / step),
});

/** The sliders of this cell: key, scale, how its value is told, and where it goes in the setting of a run. */
function sliders_of(cell) {
  const two = PAGE.full_cell;
  const sides = two ? ["negative", "positive"] : ["positive"];
  const per_side = (key, scale, tell, put) =>
    sides.map((side) => ({
      key: `${key}_${side}`,
      name: t(`slider.${key}`, { side: t(two ? `picture.${side}` : "picture.working") }),
      scale: scale(side),
      tell: tell(side),
      put: (setting, value) => put((setting[side] ??= {}), value, side),
    }));
  return [
    {
      key: "rate",
      name: t("slider.rate"),
      scale: times(0.05, 10),
      tell: (v) => t("unit.rate", { n: num(v, 2), i: num((v * cell.one_c * cell.area) / 3.6, 3) }),
    },
    ...per_side(
      "radius",
      () => times(0.25, 4),
      (side) => (v) => t("unit.um", { n: num(v * cell[`radius_${side}`] * 1e6, 2) }),
      (of, v, side) => (of.radius = v * cell[`radius_${side}`]),
    ),
    {
      key: "thickness",
      name: t(two ? "slider.thickness_both" : "slider.thickness_one"),
      scale: times(0.25, 4),
      tell: (v) => t("unit.um_list", { n: sides.map((side) => num(v * cell[`thick_${side}`] * 1e6, 3)).join(" / ") }),
      put: (setting, v) => sides.forEach((side) => ((setting[side] ??= {}).thickness = v)),
    },
    {
      key: "temperature",
      name: t("slider.temperature"),
      scale: plain(-20, 60, 1, Math.round(cell.temperature - 273.15)),
      tell: (v) => t("unit.celsius", { n: fixed(v, 0) }),
      put: (setting, v) => (setting.temperature = v + 273.15),
      more: false,
    },
    ...per_side(
      "porosity",
      (side) => plain(10, 65, 1, Math.round(100 * cell[`pores_${side}`])),
      () => (v) => t("unit.percent", { n: fixed(v, 0) }),
      (of, v) => (of.porosity = v / 100),
    ).map((one) => ({ ...one, more: true })),
    ...per_side(
      "diffusivity",
      () => times(0.1, 10),
      (side) => (v) => t("unit.diffusivity", { n: num(v * cell[`diffusivity_${side}`] * 1e15, 2) }),
      (of, v) => (of.diffusivity = v),
    ).map((one) => ({ ...one, more: true })),
    ...per_side(
      "exchange",
      () => times(0.1, 10),
      () => (v) => t("unit.times", { n: num(v, 2) }),
      (of, v) => (of.exchange = v),
    ).map((one) => ({ ...one, more: true })),
    {
      key: "lower",
      name: t("slider.lower"),
      scale: plain(-0.5, 0.8, 0.02, 0),
      tell: (v) => t("unit.volt", { n: fixed(cell.lower + v, 2) }),
      put: (setting, v) => (setting.lower = cell.lower + v),
      more: true,
    },
    {
      key: "upper",
      name: t("slider.upper"),
      scale: plain(-0.4, 0, 0.02, 0),
      tell: (v) => t("unit.volt", { n: fixed(cell.upper + v, 2) }),
      put: (setting, v) => (setting.upper = cell.upper + v),
      more: true,
    },
  ];
}

const COURSES = ["discharge", "charge", "there_and_back", "pulse", "charge_and_hold"];

/** What is done to the cell, by its name. */
function steps_of(course, rate) {
  const rest = (seconds) => ({ rest: true, until: { seconds } });
  if (course === "charge") return [{ rate }];
  if (course === "there_and_back") return [{ rate: -rate }, rest(1800), { rate }, rest(1800)];
  if (course === "pulse") return [{ rate: -rate, until: { seconds: 360 / Math.max(rate, 0.2) } }, rest(3600)];
  if (course === "charge_and_hold") return [{ rate }, { volts: null, until: { rate: Math.min(0.05, rate / 2) } }];
  return [{ rate: -rate }];
}

/** The setting and steps that the controls stand at. */
function asked_by_controls(values) {
  const setting = { salt: values.salt, reaction: values.reaction };
  for (const slider of state.sliders) if (slider.put && values[slider.key] !== slider.scale.start) slider.put(setting, values[slider.key]);
  if (values.course === "pulse") setting.from = 0.5;
  const upper = setting.upper ?? state.reference.upper;
  const steps = steps_of(values.course, values.rate).map((step) => (step.volts === null ? { ...step, volts: upper } : step));
  return own_cell(setting, steps);
}

const first_values = () => ({
  ...Object.fromEntries(state.sliders.map((slider) => [slider.key, slider.scale.start])),
  course: "discharge",
  salt: "moves",
  reaction: "uneven",
});

function slider_html(slider, value) {
  const { count, place } = slider.scale;
  const words = slider.tell(value);
  return (
    tag(
      "label",
      { class: "slider", for: `s_${slider.key}` },
      `<span>${escaped(slider.name)}</span>` + tag("output", { id: `o_${slider.key}`, for: `s_${slider.key}` }, escaped(words)),
    ) + `<input type="range" id="s_${slider.key}" min="0" max="${count}" step="1" value="${place(value)}" aria-valuetext="${escaped(words)}">`
  );
}

const choice_html = (name, options, now) =>
  tag(
    "fieldset",
    { class: "choice" },
    tag("legend", {}, escaped(t(`choice.${name}`))) +
      options
        .map(
          (option) =>
            `<label><input type="radio" name="${name}" value="${option}"${option === now ? " checked" : ""}> ${escaped(t(`choice.${name}.${option}`))}</label>`,
        )
        .join(""),
  );

/** All controls, in place; `changed` after every movement. */
function show_controls(box, changed) {
  const values = state.values;
  const list = (more) =>
    state.sliders
      .filter((slider) => Boolean(slider.more) === more)
      .map((slider) => slider_html(slider, values[slider.key]))
      .join("");
  const cold = PAGE.tells_of_temperature ? "" : tag("p", { class: "hint" }, escaped(t("try.cold_unknown", { what: PAGE.unknown_over_temperature })));
  box.innerHTML =
    `<h2>${escaped(t("try.title"))}</h2>` +
    `<label class="course">${escaped(t("try.course"))} <select id="course">${COURSES.map((name) => `<option value="${name}"${name === values.course ? " selected" : ""}>${escaped(t(`course.${name}`))}</option>`).join("")}</select></label>` +
    list(false) +
    cold +
    `<details id="more"><summary>${escaped(t("try.more"))}</summary>${list(true)}${choice_html("salt", ["moves", "rest"], values.salt)}${choice_html("reaction", ["uneven", "even"], values.reaction)}</details>` +
    `<p class="buttons"><button type="button" id="keep">${escaped(t("try.keep"))}</button> <button type="button" id="forget"${state.kept ? "" : " disabled"}>${escaped(t("try.forget"))}</button> <button type="button" id="reset">${escaped(t("try.reset"))}</button></p>`;
  for (const slider of state.sliders) {
    const input = element(`s_${slider.key}`);
    input.addEventListener("input", () => {
      const { place, at, start } = slider.scale;
      const k = Number(input.value);
      values[slider.key] = k === place(start) ? start : at(k); // the sheet's own value, though it lies between two places
      const words = slider.tell(values[slider.key]);
      element(`o_${slider.key}`).textContent = words;
      input.setAttribute("aria-valuetext", words);
      changed();
    });
  }
  element("course").addEventListener("change", (event) => {
    values.course = event.target.value;
    changed();
  });
  for (const radio of box.querySelectorAll("input[type=radio]"))
    radio.addEventListener("change", () => {
      values[radio.name] = radio.value;
      changed();
    });
}
