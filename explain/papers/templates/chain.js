/* The chain as a graph that folds and unfolds: a layered layout in the page itself, so that it works offline.
   Layers by longest path, order by barycentres (Sugiyama, Tagawa and Toda 1981, IEEE Trans. SMC 11, 109-125). */
"use strict";
const DATA = JSON.parse(document.getElementById("data").textContent);
const SVG = "http://www.w3.org/2000/svg";
const W = 196, GAP_X = 60, SMALLEST = 0.72, GAP_Y = 14, THIN = 12, EDGE = 26;
const nodes = new Map(DATA.nodes.map((n, i) => [n.id, Object.assign(n, { at: i, into: [], out: [] })]));
DATA.edges.forEach((e) => { nodes.get(e.t).into.push(e); nodes.get(e.s).out.push(e); });
const canvas = document.getElementById("canvas"), panel = document.getElementById("panel");
const picture = document.createElementNS(SVG, "svg");
picture.setAttribute("aria-hidden", "true");
const field = make("div"); field.id = "field"; field.append(picture); canvas.append(field);
let shown = new Set(DATA.nodes.filter((n) => n.shown).map((n) => n.id)), chosen = null;

function make(tag, text, cls) {
  const e = document.createElement(tag);
  if (text !== undefined) e.textContent = text;
  if (cls) e.className = cls;
  return e;
}
nodes.forEach((n) => {
  const b = make("button", undefined, ["node", n.kind === "more" ? "more-node" : n.kind, n.state.replace(/ /g, "-")].join(" "));
  b.type = "button"; b.id = n.id; b.title = n.tip;
  b.append(make("small", n.caption), document.createTextNode(n.title));
  if (n.value) b.append(make("b", n.value));
  if (n.into.length) { n.badge = make("span", "", "more"); n.badge.setAttribute("aria-hidden", "true"); b.append(n.badge); }
  b.addEventListener("click", () => { choose(n.id); toggle(n.id); });
  b.addEventListener("keydown", (ev) => move(ev, n));
  n.button = b; b.hidden = true; field.append(b);
});
const hiddenBefore = (n) => n.into.filter((e) => !shown.has(e.s));

function toggle(id) {
  const n = nodes.get(id);
  if (!n.into.length) return;
  if (hiddenBefore(n).length) n.into.forEach((e) => shown.add(e.s));
  else fold(n);
  draw();
}
function fold(n) { /* hide what serves this node alone */
  const gone = new Set();
  let waiting = [n.id];
  while (waiting.length) {
    const next = [];
    waiting.forEach((id) => nodes.get(id).into.forEach((e) => {
      const s = nodes.get(e.s);
      if (!gone.has(e.s) && shown.has(e.s) && s.out.every((o) => o.t === n.id || gone.has(o.t) || !shown.has(o.t))) { gone.add(e.s); next.push(e.s); }
    }));
    waiting = next;
  }
  gone.forEach((id) => shown.delete(id));
}
function move(ev, n) {
  const column = [...shown].map((id) => nodes.get(id)).filter((m) => m.rank === n.rank).sort((a, b) => a.y - b.y);
  const go = {
    ArrowLeft: () => n.into.filter((e) => shown.has(e.s)).map((e) => nodes.get(e.s))[0],
    ArrowRight: () => n.out.filter((e) => shown.has(e.t)).map((e) => nodes.get(e.t))[0],
    ArrowUp: () => column[column.indexOf(n) - 1], ArrowDown: () => column[column.indexOf(n) + 1],
  }[ev.key];
  const to = go && go();
  if (to) { ev.preventDefault(); to.button.focus(); choose(to.id); }
}
function layers() {
  const rank = new Map(), seen = [...shown];
  const find = (id) => {
    if (rank.has(id)) return rank.get(id);
    const before = nodes.get(id).into.filter((e) => shown.has(e.s)).map((e) => find(e.s));
    rank.set(id, before.length ? Math.max(...before) + 1 : 0);
    return rank.get(id);
  };
  seen.forEach(find);
  const late = { cause: 0, gate: 1, remedy: 2 };
  const base = Math.max(0, ...seen.filter((id) => !(nodes.get(id).kind in late)).filter((id) => nodes.get(id).out.some((e) => nodes.get(e.t).kind === "cause" && shown.has(e.t))).map((id) => rank.get(id))) + 1;
  seen.sort((a, b) => rank.get(a) - rank.get(b)).forEach((id) => {
    const n = nodes.get(id), before = n.into.filter((e) => shown.has(e.s)).map((e) => rank.get(e.s));
    rank.set(id, Math.max(before.length ? Math.max(...before) + 1 : 0, n.kind === "cause" ? base : 0));
  });
  seen.sort((a, b) => rank.get(b) - rank.get(a)).forEach((id) => { /* draw what has nothing before it up to what reads it */
    const n = nodes.get(id), after = n.out.filter((e) => shown.has(e.t)).map((e) => rank.get(e.t));
    if (!n.into.some((e) => shown.has(e.s)) && after.length && n.kind !== "cause") rank.set(id, Math.min(...after) - 1);
  });
  return rank;
}
function draw() {
  nodes.forEach((n) => { n.button.hidden = !shown.has(n.id); });
  const rank = layers(), least = Math.min(...rank.values()), columns = [];
  const items = new Map(), put = (r, it) => { (columns[r] = columns[r] || []).push(it); return it; };
  [...shown].sort((a, b) => nodes.get(a).at - nodes.get(b).at).forEach((id) => {
    const n = nodes.get(id);
    n.rank = rank.get(id) - least;
    items.set(id, put(n.rank, { h: n.button.offsetHeight, links: [], n }));
  });
  const routes = DATA.edges.filter((e) => shown.has(e.s) && shown.has(e.t)).map((e) => {
    const way = [items.get(e.s)], from = nodes.get(e.s).rank, to = nodes.get(e.t).rank;
    for (let r = from + 1; r < to; r++) way.push(put(r, { h: THIN, links: [], r }));
    way.push(items.get(e.t));
    for (let i = 1; i < way.length; i++) { way[i].links.push(way[i - 1]); way[i - 1].links.push(way[i]); }
    return { e, way };
  });
  columns.forEach((c) => stack(c));
  for (let pass = 0; pass < 14; pass++) {
    const order = pass % 2 ? [...columns].reverse() : columns;
    order.forEach((c) => {
      c.forEach((it) => { it.want = it.links.length ? it.links.reduce((s, l) => s + l.mid, 0) / it.links.length : it.mid; });
      c.sort((a, b) => a.want - b.want);
      settle(c);
    });
  }
  const top = Math.min(...columns.flat().map((it) => it.mid - it.h / 2)) - EDGE;
  let wide = 0, high = 0;
  columns.forEach((c, r) => c.forEach((it) => {
    it.mid -= top; it.x = EDGE + r * (W + GAP_X);
    wide = Math.max(wide, it.x + W); high = Math.max(high, it.mid + it.h / 2);
    if (it.n) { it.n.y = it.mid; it.n.button.style.left = it.x + "px"; it.n.button.style.top = it.mid - it.h / 2 + "px"; mark(it.n); }
  }));
  picture.setAttribute("width", wide + EDGE); picture.setAttribute("height", high + EDGE);
  picture.replaceChildren(...routes.map(line));
  const scale = Math.max(SMALLEST, Math.min(1, (canvas.clientWidth - 4) / (wide + EDGE)));
  field.style.transform = `scale(${scale})`;
  canvas.style.height = Math.min(Math.max((high + EDGE) * scale + 20, 320), Math.max(innerHeight * 0.78, 420)) + "px";
  document.getElementById("count").textContent = DATA.words.count.replace("{shown}", shown.size).replace("{all}", nodes.size);
}
function stack(c) { let y = 0; c.forEach((it) => { it.mid = y + it.h / 2; y += it.h + GAP_Y; }); }
function settle(c) { /* as near as may be to where each wants to stand, without overlap */
  let floor = -Infinity;
  c.forEach((it) => { it.mid = Math.max(it.want, floor + it.h / 2); floor = it.mid + it.h / 2 + GAP_Y; });
  const shift = c.reduce((s, it) => s + it.want - it.mid, 0) / c.length;
  c.forEach((it) => { it.mid += shift; });
}
function line({ e, way }) {
  const g = document.createElementNS(SVG, "g"), p = document.createElementNS(SVG, "path");
  let d = "", last;
  way.forEach((it, i) => {
    const y = it.mid;
    if (!i) { d = `M${it.x + W} ${y}`; last = { x: it.x + W, y }; return; }
    const half = (it.x - last.x) / 2;
    d += `C${last.x + half} ${last.y} ${it.x - half} ${y} ${it.x} ${y}`;
    if (i < way.length - 1) d += `H${it.x + W}`;
    last = { x: it.x + (i < way.length - 1 ? W : 0), y };
  });
  p.setAttribute("d", d); p.setAttribute("class", e.side);
  p.style.strokeWidth = e.w || 1.3;
  g.append(p);
  const end = document.createElementNS(SVG, "path"), { x, y } = last, t = e.w || 1;
  end.setAttribute("d", e.side === "against" ? `M${x - 3} ${y - 6 - t / 2}v${12 + t}` : e.side === "open" ? `M${x - 8} ${y}a4 4 0 1 0 8 0a4 4 0 1 0 -8 0` : `M${x} ${y}l${-7 - t} ${-3 - t * 0.6}v${6 + t * 1.2}z`);
  end.setAttribute("class", e.side);
  end.style.strokeDasharray = "none";
  end.style.fill = e.side === "open" ? "#fff" : "";
  if (e.side === "for" || e.side === "plain") { end.style.fill = e.side === "for" ? "#0b5a6b" : "#8d979f"; end.style.stroke = "none"; }
  g.append(end);
  if (e.db) {
    const text = document.createElementNS(SVG, "text");
    text.setAttribute("x", x - 26); text.setAttribute("y", y - 5); text.setAttribute("text-anchor", "end"); text.textContent = e.db;
    g.append(text);
  }
  return g;
}
function mark(n) {
  if (!n.badge) return;
  const closed = hiddenBefore(n).length;
  n.badge.textContent = closed ? "+" : "−";
  n.button.setAttribute("aria-expanded", String(!closed));
}
function choose(id) {
  if (chosen) nodes.get(chosen).button.classList.remove("chosen");
  chosen = id;
  const n = nodes.get(id);
  n.button.classList.add("chosen");
  const out = [make("h3", n.title + (n.value ? ": " + n.value : "")), make("p", n.caption, "cap")];
  if (n.tip && n.tip !== n.title) out.push(make("p", n.tip));
  if (n.facts.length) {
    const dl = make("dl");
    n.facts.forEach(([k, v]) => dl.append(make("dt", k), make("dd", v)));
    out.push(dl);
  }
  n.rules.forEach((r) => {
    out.push(make("h4", r.head), make("p", r.says));
    const ul = make("ul");
    r.conditions.forEach((c) => ul.append(make("li", c)));
    out.push(ul, make("p", r.source, "cap"));
  });
  [[DATA.words.rests, n.into, "s"], [DATA.words.leads, n.out, "t"]].forEach(([head, edges, end]) => {
    if (!edges.length) return;
    const ul = make("ul");
    edges.forEach((e) => {
      const other = nodes.get(e[end]), li = make("li"), go = make("button", other.title + (other.value ? ": " + other.value : ""), "go");
      go.type = "button";
      go.addEventListener("click", () => { shown.add(other.id); draw(); choose(other.id); other.button.focus(); });
      li.append(go, document.createTextNode(" (" + DATA.words[e.side] + (e.db ? ", " + e.db : "") + ")"));
      ul.append(li);
    });
    out.push(make("h4", head), ul);
  });
  panel.replaceChildren(...out);
}
function reset(which) {
  shown = new Set(DATA.nodes.filter((n) => which === "whole" || (which === "first" ? n.shown : n.goal)).map((n) => n.id));
  draw();
}
["first", "least", "whole"].forEach((id) => document.getElementById(id).addEventListener("click", () => reset(id)));
document.getElementById("graph").hidden = false;
draw();
addEventListener("resize", draw);
