// The questions: what is run, and what its numbers say. Words stand in the texts: ask, a, b, c, why and facts.N of each. `right` looks at the numbers of this very cell; where it does not come out as `expected`, the page says so instead of the reason.

const RATE = { slow: 0.05, half: 0.5, one: 1, two: 2, three: 3, five: 5 };
const full_cell = () => PAGE.full_cell;
const mah = (run, areal) => t("unit.mah", { n: num(run.milliampere_hours(Math.abs(areal)), 4) });
const micro = (run, areal) => t("unit.micromole", { n: num(run.micromoles(Math.abs(areal)), 4) });
const last = (run, name) => run.value(name, run.count - 1);
const change = (run, name) => last(run, name) - run.value(name, 0);

/** The host in which lithium needs longer to even out, R^2/D at half filling. */
function slower_side(cell) {
  const time = (side) => cell[`radius_${side}`] ** 2 / cell[`diffusivity_${side}`];
  return PAGE.full_cell && time("negative") > time("positive") ? "negative" : "positive";
}

/** How long the surface takes, once the current has stopped, to come within a tenth of its distance from the mean. */
function evening_out(run, side) {
  const apart = run.column(`surface_${side}`).map((surface, k) => Math.abs(surface - run.value(`mean_${side}`, k)));
  const first = run.column("step").findIndex((step) => step === 1);
  for (let k = first + 1; k < run.count; k += 1) {
    if (apart[k] > apart[first] / 10) continue;
    const share = (apart[k - 1] - apart[first] / 10) / (apart[k - 1] - apart[k]);
    return run.value("time", k - 1) + share * (run.value("time", k) - run.value("time", k - 1)) - run.value("time", first);
  }
  return NaN;
}

const QUESTIONS = [
  {
    id: "crossing",
    needs: full_cell,
    expected: "b",
    asked: () => [own_cell({}, [{ rate: -RATE.one }])],
    facts: ([run]) => [
      micro(run, last(run, "charge")),
      micro(run, change(run, "mean_negative") * run.cell.host_negative),
      micro(run, change(run, "mean_positive") * run.cell.host_positive),
    ],
    right: ([run]) =>
      Math.abs(change(run, "mean_positive") * run.cell.host_positive + last(run, "charge")) < 1e-6 * Math.abs(last(run, "charge")) ? "b" : null,
  },
  {
    id: "lithium",
    needs: full_cell,
    expected: "c",
    view: "layers",
    asked: () => [own_cell({}, [{ rate: RATE.half }])],
    facts: ([run]) => {
      const all = (k) => run.value("mean_negative", k) * run.cell.host_negative + run.value("mean_positive", k) * run.cell.host_positive;
      const of = (side, k) => micro(run, run.value(`mean_${side}`, k) * run.cell[`host_${side}`]);
      const end = run.count - 1;
      return [of("negative", 0), of("positive", 0), micro(run, all(0)), of("negative", end), of("positive", end), micro(run, all(end))];
    },
    right: ([run]) => {
      const all = (k) => run.value("mean_negative", k) * run.cell.host_negative + run.value("mean_positive", k) * run.cell.host_positive;
      return Math.abs(all(run.count - 1) / all(0) - 1) < 1e-6 ? "c" : null;
    },
  },
  {
    id: "poles",
    needs: full_cell,
    expected: "a",
    asked: () => [own_cell({}, [{ rate: -RATE.one, until: { seconds: 1500 } }, { rest: true, until: { seconds: 600 } }, { rate: RATE.one }])],
    facts: ([run]) => [
      t("unit.volt", { n: fixed(Math.min(...run.column("voltage")), 2) }),
      micro(run, run.steps[0].charge),
      micro(run, run.steps[2].charge),
    ],
    right: ([run]) => (Math.min(...run.column("voltage")) > 0 ? "a" : "b"),
  },
  {
    id: "reading",
    needs: () => true,
    expected: "c",
    names: ["slow", "fast"],
    first: () => [own_cell({}, [{ rate: -RATE.three }])],
    asked: ([fast]) => {
      const volts = Math.round(fast.moment(fast.duration * 0.4).voltage * 100) / 100;
      const until = { volts };
      const rest = { rest: true, until: { seconds: 3600 } };
      return [own_cell({}, [{ rate: -RATE.slow, until }, rest]), own_cell({}, [{ rate: -RATE.three, until }, rest])];
    },
    facts: ([slow, fast]) => [
      t("unit.volt", { n: fixed(slow.value("voltage", slow.steps[0].moments - 1), 2) }),
      mah(slow, slow.cell.capacity - Math.abs(slow.steps[0].charge)),
      mah(fast, fast.cell.capacity - Math.abs(fast.steps[0].charge)),
      t("unit.volt", { n: fixed(last(slow, "voltage"), 2) }),
      t("unit.volt", { n: fixed(last(fast, "voltage"), 2) }),
    ],
    right: ([slow, fast]) =>
      Math.abs(fast.steps[0].charge) < 0.98 * Math.abs(slow.steps[0].charge)
        ? "c"
        : Math.abs(fast.steps[0].charge) > 1.02 * Math.abs(slow.steps[0].charge)
          ? "b"
          : "a",
  },
  {
    id: "cutoff",
    needs: () => true,
    expected: "c",
    asked: () => [own_cell({}, [{ rate: -RATE.five }, { rate: -RATE.slow }])],
    pause_at: ([run]) => run.steps[0].duration * (1 - 1e-6),
    facts: ([run]) => {
      const side = slower_side(run.cell);
      const k = run.steps[0].moments - 1;
      const grain = run.moment(run.value("time", k) - 1e-3)[`grains_${side}`][GRAINS - 1];
      return [
        mah(run, run.steps[0].charge),
        lasting(run.steps[0].duration),
        mah(run, run.steps[1].charge),
        t(PAGE.full_cell ? `picture.${side}` : "picture.working"),
        t("unit.percent", { n: fixed(100 * grain[grain.length - 1], 0) }),
        t("unit.percent", { n: fixed(100 * grain[0], 0) }),
      ];
    },
    right: ([run]) => {
      const share = run.steps[1].charge / run.steps[0].charge;
      return share < 0.01 ? "a" : share < 0.1 ? "b" : "c";
    },
  },
  {
    id: "halved",
    needs: () => true,
    expected: "b",
    names: ["as_it_is", "halved"],
    asked: () => {
      const cell = state.reference;
      const side = slower_side(cell);
      const time = cell[`radius_${side}`] ** 2 / cell[`diffusivity_${side}`];
      const steps = [
        { rate: -RATE.one, until: { seconds: Math.min(1200, 0.3 * time) } },
        { rest: true, until: { seconds: 0.4 * time } },
      ];
      const even = { from: 0.6, reaction: "even" };
      return [own_cell(even, steps, 300), own_cell({ ...even, [side]: { radius: cell[`radius_${side}`] / 2 } }, steps, 300)];
    },
    facts: ([whole, half]) => {
      const side = slower_side(whole.cell);
      const [one, other] = [evening_out(whole, side), evening_out(half, side)];
      const size = (run) => t("unit.um", { n: num(run.cell[`radius_${side}`] * 1e6, 2) });
      return [t(PAGE.full_cell ? `picture.${side}` : "picture.working"), size(whole), lasting(one), size(half), lasting(other), num(one / other, 2)];
    },
    right: ([whole, half]) => {
      const side = slower_side(state.reference);
      const ratio = evening_out(whole, side) / evening_out(half, side);
      return ratio > 3 && ratio < 5.5 ? "b" : ratio > 1.5 && ratio <= 3 ? "a" : ratio <= 1.5 ? "c" : null;
    },
  },
  {
    id: "half_hour",
    needs: () => true,
    expected: "b",
    asked: () => [own_cell({}, [{ rate: -RATE.two }])],
    facts: ([run]) => [
      lasting(1800),
      lasting(run.duration),
      t("unit.percent", { n: fixed((100 * run.duration) / 1800, 0) }),
      mah(run, run.steps[0].charge),
    ],
    right: ([run]) => (run.duration < 1770 ? "b" : run.duration > 1830 ? "c" : "a"),
  },
  {
    id: "thicker",
    needs: full_cell,
    expected: "b",
    names: ["times_1", "times_2", "times_3", "times_4"],
    asked: () => [1, 2, 3, 4].map((thickness) => own_cell({ positive: { thickness }, negative: { thickness } }, [{ rate: -RATE.three }])),
    facts: (runs) =>
      runs.map((run) =>
        t("unit.energy_and_salt", {
          e: num(Math.abs(run.steps[0].energy) / 3600, 3),
          c: num(Math.max(0, Math.min(...run.column("lowest_salt"))) / 1000, 2),
        }),
      ),
    right: (runs) => {
      const energies = runs.map((run) => Math.abs(run.steps[0].energy));
      const best = energies.indexOf(Math.max(...energies));
      return best === 3 ? "a" : best === 0 ? "c" : "b";
    },
  },
  {
    id: "cold",
    needs: () => PAGE.full_cell && PAGE.can_plate && PAGE.tells_of_temperature,
    expected: "c",
    names: ["warm", "cold"],
    caution: true,
    asked: () => {
      const amperes = state.reference.one_c / 3600;
      return [own_cell({}, [{ amperes }]), own_cell({ temperature: 268.15 }, [{ amperes }])];
    },
    facts: (runs) =>
      runs.flatMap((run) => [
        t("unit.celsius", { n: fixed(run.cell.temperature - 273.15, 0) }),
        mah(run, run.steps[0].charge),
        t("unit.millivolt", { n: fixed(1000 * Math.min(...run.column("separator_side")), 0) }),
      ]),
    right: ([warm, cold]) => {
      const lowest = (run) => Math.min(...run.column("separator_side"));
      if (lowest(cold) < 0 && lowest(warm) >= 0) return "c";
      return Math.abs(cold.steps[0].charge) < Math.abs(warm.steps[0].charge) ? "a" : "b";
    },
  },
  {
    id: "half_cell",
    needs: () => !PAGE.full_cell || PAGE.half_cell !== "",
    expected: "b",
    names: ["with_lithium", "without_lithium"],
    asked: () => {
      const cell = PAGE.full_cell ? "half" : "cell";
      const steps = [{ rate: -RATE.two }];
      return [{}, { counter: 1e6 }].map((setting) => ({ cell, row: asked_row(setting, steps) }));
    },
    facts: ([both, alone]) => {
      const half = (run) => run.moment(both.duration / 2).voltage;
      return [
        t("unit.volt", { n: fixed(half(both), 3) }),
        t("unit.volt", { n: fixed(half(alone), 3) }),
        t("unit.millivolt", { n: fixed(1000 * (half(alone) - half(both)), 0) }),
        mah(both, both.steps[0].charge),
        mah(alone, alone.steps[0].charge),
      ];
    },
    right: ([both, alone]) => (Math.abs(alone.moment(both.duration / 2).voltage - both.moment(both.duration / 2).voltage) > 1e-3 ? "b" : "a"),
  },
];
