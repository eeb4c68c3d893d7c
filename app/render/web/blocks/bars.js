// A block "bars": ranked bars from one foot. Data -> SVG.

/**
 * {title, says, numbered, bars: [{name, remark, size, from, words, look (of a stack's parts; missing: plain)}]}, in order;
 * a bar reaches from `from` to `from + size`; a negative size goes left.
 */
function draw_bars(block, width, id) {
  const beside = width > 560;
  const title = (bar, i) => (block.numbered ? `${i + 1}. ` : "") + lettered(bar.name);
  const longest = Math.max(...block.bars.flatMap((bar, i) => [width_of(title(bar, i), 600), width_of(lettered(bar.remark))]));
  const names = beside ? Math.min(width * 0.46, 460, longest + 2) : width - 8;
  const left = beside ? names + 18 : 4;
  const ends = block.bars.flatMap((bar) => [bar.from, bar.from + bar.size]).filter(known);
  const [low, high] = d3.extent([0, ...ends]);
  const room = Math.max(...block.bars.map((bar) => width_of(lettered(bar.words), 600))) + 16;
  const x = d3.scaleLinear([low, high > low ? high : low + 1], [left, Math.max(left + 40, width - room)]);
  const out = [];
  const foot = (top, floor) => out.push(tag("line", { class: "bar-foot", x1: x(0), x2: x(0), y1: top, y2: floor }));
  let at = 6;
  block.bars.forEach((bar, i) => {
    const lines = wrapped(title(bar, i), names).slice(0, 3);
    const small = bar.remark ? wrapped(lettered(bar.remark), names, 400) : [];
    lines.forEach((line, k) => out.push(tag("text", { class: "label", x: 4, y: at + 13 + 16 * k, fill: INK }, escaped(line))));
    small.forEach((line, k) => out.push(tag("text", { x: 4, y: at + 13 + 16 * (lines.length + k), fill: SOFT }, escaped(line))));
    const tall = 16 * (lines.length + small.length);
    const middle = beside ? at + tall / 2 + 1 : at + tall + 14;
    const [from, to] = [x(bar.from), x(bar.from + bar.size)].sort((a, b) => a - b);
    if (bar.size && known(bar.size)) {
      const [definition, paint] = known(bar.look) ? filling(`${id}-${i}`, bar.look) : ["", "#8fa09e"];
      const wide = Math.max(1.5, to - from);
      out.push(definition, tag("rect", { class: "slab", x: bar.size > 0 ? from : to - wide, width: wide, y: middle - 8, height: 16, fill: paint }));
    }
    const end = known(to) ? Math.max(x(0), to) : x(0);
    const words = lettered(bar.words);
    const rows = end + 8 + width_of(words, 600) <= width ? [words] : wrapped(words, width - left - 8);
    const below = rows.length > 1 || rows[0] !== words || end + 8 + width_of(words, 600) > width;
    rows.forEach((row, k) =>
      out.push(tag("text", { class: "label", x: below ? left + 4 : end + 8, y: middle + (below ? 24 + 16 * k : 5), fill: INK }, escaped(row))),
    );
    if (!beside) foot(middle - 12, middle + 12);
    at += tall + (beside ? 12 : 36) + (below ? 16 * rows.length + 4 : 0);
  });
  if (beside) foot(2, at - 6);
  return { svg: out.join(""), height: at, box: { left, right: width, top: 0, floor: at }, traces: [] };
}
