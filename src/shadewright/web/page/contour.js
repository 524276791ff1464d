// Lines of equal value on a grid, joined so that they can be dashed.

/**
 * Lines along which a grid equals `level`: lists of [column, row] places, whole at grid points.
 *
 * values: row by row, `columns` to a row; a cell with a corner that is not finite has no line.
 */
export function contours(values, columns, rows, level) {
  const links = new Map();
  const places = new Map();
  const join = (a, b) => {
    for (const [from, to] of [
      [a, b],
      [b, a],
    ]) {
      if (!links.has(from)) links.set(from, []);
      links.get(from).push(to);
    }
  };
  const crossing = (k, l, id) => {
    if (!places.has(id)) {
      const t = (level - values[k]) / (values[l] - values[k]);
      const column = k % columns;
      const row = (k - column) / columns;
      places.set(id, l === k + 1 ? [column + t, row] : [column, row + t]);
    }
    return id;
  };
  for (let row = 0; row < rows - 1; row++) {
    for (let column = 0; column < columns - 1; column++) {
      const a = row * columns + column;
      const b = a + 1,
        d = a + columns,
        c = d + 1;
      if (!usable(values, a, b, c, d)) continue;
      const cuts = [];
      if (values[a] < level !== values[b] < level) cuts.push(crossing(a, b, 2 * a));
      if (values[b] < level !== values[c] < level) cuts.push(crossing(b, c, 2 * b + 1));
      if (values[d] < level !== values[c] < level) cuts.push(crossing(d, c, 2 * d));
      if (values[a] < level !== values[d] < level) cuts.push(crossing(a, d, 2 * a + 1));
      if (cuts.length === 2) join(cuts[0], cuts[1]);
      else if (cuts.length === 4) {
        // A saddle: the middle of the cell says which corners belong together.
        const middle = (values[a] + values[b] + values[c] + values[d]) / 4 < level === values[a] < level;
        join(cuts[0], cuts[middle ? 1 : 3]);
        join(cuts[2], cuts[middle ? 3 : 1]);
      }
    }
  }
  return chains(links).map((chain) => chain.map((id) => places.get(id)));
}

function usable(values, ...corners) {
  return corners.every((k) => values[k] !== null && Number.isFinite(values[k]));
}

function chains(links) {
  const found = [];
  const walk = (start) => {
    const chain = [start];
    let here = start;
    for (;;) {
      const onward = links.get(here)?.pop();
      if (onward === undefined) break;
      const back = links.get(onward);
      back.splice(back.indexOf(here), 1);
      chain.push(onward);
      here = onward;
    }
    return chain;
  };
  // Open lines first, from their ends; what then remains are rings.
  for (const [id, others] of links) if (others.length === 1) found.push(walk(id));
  for (const [id, others] of links) if (others.length > 0) found.push(walk(id));
  return found.filter((chain) => chain.length > 1);
}
