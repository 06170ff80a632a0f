// What is placed: {marks, bends, reference}, never changed in place, so that undo is a list.
// A point's id: "mark.<landmark>", "bend.<span>.<index>" or "point.<index>" (of the reference).

const EMPTY = { marks: {}, bends: {}, reference: [] };

function pointOf(placed, id) {
  const [kind, name, index] = id.split(".");
  if (kind === "mark") return placed.marks[name];
  if (kind === "bend") return (placed.bends[name] || [])[Number(index)];
  return placed.reference[Number(name)];
}

function withPoint(placed, id, xy) {
  const [kind, name, index] = id.split(".");
  if (kind === "mark") return { ...placed, marks: { ...placed.marks, [name]: xy } };
  if (kind === "bend") {
    const bends = [...(placed.bends[name] || [])];
    bends[Number(index)] = xy;
    return { ...placed, bends: { ...placed.bends, [name]: bends } };
  }
  const reference = [...placed.reference];
  reference[Math.min(Number(name), reference.length)] = xy;
  return { ...placed, reference };
}

function withoutPoint(placed, id) {
  const [kind, name, index] = id.split(".");
  if (kind === "mark") {
    const { [name]: gone, ...marks } = placed.marks;
    return { ...placed, marks };
  }
  if (kind === "bend") {
    const { [name]: old, ...bends } = placed.bends;
    const left = old.filter((_, i) => i !== Number(index));
    return { ...placed, bends: left.length ? { ...bends, [name]: left } : bends };
  }
  return { ...placed, reference: placed.reference.filter((_, i) => i !== Number(name)) };
}

function withBend(placed, span, at, piece) {
  const bends = [...(placed.bends[span] || [])];
  bends.splice(piece, 0, at);
  return { ...placed, bends: { ...placed.bends, [span]: bends } };
}

// Where the program proposes a landmark that nobody has placed, or null.  Never a mark by itself.
function proposedAt(data, id) {
  const [kind, name] = id.split(".");
  return (kind === "mark" && !data.readOnly && data.proposed[name]) || null;
}

// The line of a span as [end, bends, end], or null while an end is missing.
function lineOf(placed, span, ends) {
  const [a, b] = ends.map((name) => placed.marks[name]);
  return a && b ? [a, ...(placed.bends[span] || []), b] : null;
}

function idsOf(placed, data) {
  const marks = [...data.landmarks, ...data.optional].filter((name) => placed.marks[name]);
  const bends = Object.keys(data.spans).flatMap((span) =>
    lineOf(placed, span, data.spans[span].ends)
      ? (placed.bends[span] || []).map((_, i) => `bend.${span}.${i}`)
      : [],
  );
  return [
    ...marks.map((name) => `mark.${name}`),
    ...bends,
    ...placed.reference.map((_, i) => `point.${i}`),
  ];
}

// Whether the person has to place (more of) the reference.
const referenceWanted = (placed, data) =>
  placed.reference.length < data.needed[0] &&
  (placed.reference.length > 0 || (data.shape !== "none" && !data.seen.length));

// What to place after `id` (or at first, without one): required marks, then the reference.
function nextToPlace(placed, data, id) {
  const at = id && id.startsWith("mark.") ? data.landmarks.indexOf(id.slice(5)) + 1 : 0;
  const round = [...data.landmarks.slice(at), ...data.landmarks.slice(0, at)];
  const missing = round.find((name) => !placed.marks[name]);
  if (missing) return `mark.${missing}`;
  return referenceWanted(placed, data) ? `point.${placed.reference.length}` : null;
}
