// Between the cells that the program worked out: values in proportion, of verdicts the gravest.
export const GRAVER = ["", "clear", "cannot tell", "not clear"];
export const graver = (a, b) => (GRAVER.indexOf(b) > GRAVER.indexOf(a) ? b : a);

// the two neighbours of a value in a rising list, each with its weight
export function between(list, value) {
  let k = list.findIndex((v) => v >= value - 1e-6);
  if (k < 0) k = list.length - 1;
  if (k === 0 || Math.abs(list[k] - value) < 1e-6) return [[k, 1]];
  const share = (value - list[k - 1]) / (list[k] - list[k - 1]);
  return [[k - 1, 1 - share], [k, share]];
}

// cells mixed in proportion, [cell, weight] each: values interpolated, of verdicts the gravest
export function mixed(parts) {
  const cells = parts.map(([cell]) => cell);
  const sum = (of) => parts.reduce((s, [cell, weight]) => s + weight * of(cell), 0);
  const heaviest = parts.reduce((a, b) => (b[1] > a[1] ? b : a))[0];
  const rows = heaviest.rows.filter((r) => cells.every((c) => c.rows.some((o) => o[0] === r[0]))).map((row) => {
    const same = (cell) => cell.rows.find((o) => o[0] === row[0]);
    const is = cells.map((c) => same(c)[5]).reduce(graver);
    const [value, half, lowest] = [1, 2, 3].map((k) => sum((c) => same(c)[k]));
    return { name: row[0], value, half, lowest, at_mm: row[4], is };
  });
  const places = cells.every((c) => c.places) ? heaviest.places.map((stand, k) => Object.fromEntries(Object.keys(stand).map((name) =>
    [name, stand[name].map((_, i) => (cells.some((c) => c.places[k][name][i] === null) ? null : sum((c) => c.places[k][name][i])))]))) : null;
  return {
    rows, places, trouble: cells.find((c) => c.trouble)?.trouble ?? "",
    angle: cells.every((c) => c.angle) ? { value: sum((c) => c.angle[0]), half: sum((c) => c.angle[1]) } : null,
  };
}

// the cell of a ride height and a change of length; null where its rows are not here yet
export function cellAt(rows, heights, changes, lowered, change) {
  const parts = between(heights, lowered).flatMap(([h, share]) => between(changes, change).map(([k, weight]) => [rows[h]?.[k], share * weight]));
  return parts.every(([cell]) => cell) ? mixed(parts) : null;
}
