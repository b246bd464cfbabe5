"""What is measured in a page: JavaScript functions of its document."""

OVERFLOW = """document => {
  const root = document.documentElement, wide = root.clientWidth;
  const sticking = [...document.querySelectorAll("body *")].filter(each => {
    if (each.closest(".said, figcaption, defs") || !each.getClientRects().length) return false;
    const box = each.getBoundingClientRect();
    return box.width > 0 && (box.right > wide + 0.5 || box.left < -0.5);
  });
  return {width: wide, scroll: root.scrollWidth,
          sticking: sticking.map(each => each.tagName + ": " + each.textContent.trim().slice(0, 40))};
}"""
"""How wide the page is, how wide it scrolls, and what sticks out."""

DRAWN_TEXTS = """document => [...document.querySelectorAll('svg[role="img"]')].map(svg => {
  const at = each => { const box = each.getBoundingClientRect();
    return {left: box.left, right: box.right, top: box.top, bottom: box.bottom}; };
  const texts = [...svg.querySelectorAll("text")].map(each => ({text: each.textContent, ...at(each),
    size: parseFloat(getComputedStyle(each).fontSize) * each.getScreenCTM().a,
    halo: getComputedStyle(each).paintOrder.startsWith("stroke")}));
  const strokes = [];
  for (const each of svg.querySelectorAll("line, polyline")) {
    const points = each.tagName === "line"
      ? [[each.x1.baseVal.value, each.y1.baseVal.value], [each.x2.baseVal.value, each.y2.baseVal.value]]
      : [...each.points].map(point => [point.x, point.y]);
    const matrix = each.getScreenCTM();
    strokes.push(points.map(([x, y]) => [matrix.a * x + matrix.c * y + matrix.e,
                                         matrix.b * x + matrix.d * y + matrix.f]));
  }
  return {frame: at(svg), texts, strokes};
})"""
"""Every drawing with the boxes of its texts, their size, and its lines [CSS px]."""

CONTRASTS = """document => {
  const parse = color => (color.match(/[\\d.]+/g) || []).map(Number);
  const linear = v => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4;
  const light = ([r, g, b]) => {
    const part = [r, g, b].map(v => linear(v / 255));
    return 0.2126 * part[0] + 0.7152 * part[1] + 0.0722 * part[2];
  };
  const behind = each => {
    for (let at = each; at; at = at.parentElement) {
      const color = parse(getComputedStyle(at).backgroundColor);
      if (color.length === 3 || color[3] === 1) return color;
    }
    return [255, 255, 255];
  };
  const found = [];
  for (const each of document.querySelectorAll("body *")) {
    const own = [...each.childNodes].some(node => node.nodeType === 3 && node.textContent.trim());
    if (!own || !each.getClientRects().length || each.closest("title, desc, style")) continue;
    const style = getComputedStyle(each);
    const ink = parse(each.namespaceURI.endsWith("svg") ? style.fill : style.color);
    const a = light(ink), b = light(behind(each));
    found.push({text: each.textContent.trim().slice(0, 40),
                ratio: (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05)});
  }
  return found;
}"""
"""Every text with the contrast of its ink against what lies behind it."""

SMALLEST = """document => Math.min(...[...document.querySelectorAll("body *")].filter(each =>
  each.getClientRects().length && !each.closest("svg, .said, figcaption") &&
  [...each.childNodes].some(node => node.nodeType === 3 && node.textContent.trim())
).map(each => parseFloat(getComputedStyle(each).fontSize)))"""
"""The smallest type on the page [CSS px]."""

RIGHT_EDGES = """document => [...document.querySelectorAll(".readings .is .n, .readings .was .n")]
  .filter(each => each.getClientRects().length)
  .map(each => ({column: each.closest("td").className, right: each.getBoundingClientRect().right}))"""
"""Where the figures of each column end [CSS px]."""

OUT_OF_CELLS = """document => {
  const found = [];
  for (const cell of document.querySelectorAll("th, td")) {
    const box = cell.getBoundingClientRect(), texts = document.createTreeWalker(cell, NodeFilter.SHOW_TEXT);
    for (let text = texts.nextNode(); text; text = texts.nextNode()) {
      if (text.parentElement.closest(".said") || !text.textContent.trim()) continue;
      const range = document.createRange();
      range.selectNodeContents(text);
      for (const part of range.getClientRects())
        if (part.right > box.right + 0.5 || part.left < box.left - 0.5)
          found.push(`${text.textContent.trim()} in ${cell.textContent.trim().replace(/\\s+/g, " ")}`);
    }
  }
  return found;
}"""
"""Texts of tables that stand over the edge of their cells, where they would touch the next one's."""
