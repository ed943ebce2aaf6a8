#!/usr/bin/env bash
# Draws demo/schedule.svg and demo/page.svg, the pictures of README.md, from the pages that the demo
# makes: parts of them, with the text where a browser puts it. The text stays text. Needs chromium,
# curl and python3, and a built program; run it when the pages change.
#
#   BOTHHANDS=target/release/bothhands demo/make-pictures.sh
set -euo pipefail
program=$(realpath "${BOTHHANDS:-target/release/bothhands}")
cd "$(dirname "$0")"
work=$(mktemp -d)
page=
trap 'kill $page 2>/dev/null || true; rm -rf "$work"' EXIT

# Leaves a part of a page, and puts an SVG of it in its place: boxes and lines first, then the text.
cat >"$work/draw.js" <<'JS'
addEventListener("load", () => {
  for (const unwanted of document.querySelectorAll(LEFT_OUT)) unwanted.remove();
  const boxes = [], texts = [];
  const seen = colour => !/, 0\)$|^transparent$/.test(colour);
  const n = x => String(Math.round(x * 10) / 10);
  const escaped = text => text.replace(/&/g, "&amp;").replace(/</g, "&lt;");
  const box = (x, y, w, h, fill, more = "") =>
    w > 0 && h > 0 && boxes.push(`<rect x="${n(x)}" y="${n(y)}" width="${n(w)}" height="${n(h)}" fill="${fill}"${more}/>`);
  const say = (text, rect, style) => {
    const caps = style.fontVariantCaps !== "normal";
    const size = parseFloat(style.fontSize) * (caps ? 0.78 : 1);
    if (caps || style.textTransform === "uppercase") text = text.toUpperCase();
    const y = rect.top + rect.height / 2 + size * 0.35;
    let more = "";
    if (parseInt(style.fontWeight) >= 600) more += ' font-weight="bold"';
    if (style.fontStyle === "italic") more += ' font-style="italic"';
    texts.push(`<text x="${n(rect.left)}" y="${n(y)}" font-size="${n(size)}" textLength="${n(rect.width)}" fill="${style.color}"${more}>${escaped(text)}</text>`);
  };
  const lines = (node, style) => {
    const range = document.createRange(), text = node.data;
    let from = 0, last = null;
    const put = to => {
      let part = text.slice(from, to), start = from;
      while (/^\s/.test(part)) { part = part.slice(1); start++; }
      part = part.trimEnd();
      if (!part) return;
      range.setStart(node, start);
      range.setEnd(node, start + part.length);
      say(part.replace(/\s+/g, " "), range.getBoundingClientRect(), style);
    };
    for (let i = 0; i < text.length; i++) {
      range.setStart(node, i);
      range.setEnd(node, i + 1);
      const [rect] = range.getClientRects();
      if (!rect || !rect.width) continue;
      if (last !== null && rect.top > last + 3) { put(i); from = i; }
      last = rect.top;
    }
    put(text.length);
  };
  const walk = element => {
    const style = getComputedStyle(element), r = element.getBoundingClientRect();
    if (style.display === "none" || style.visibility === "hidden" || r.bottom < 0) return;
    if (element.matches(".hidden, .skip")) return;
    if (seen(style.backgroundColor)) box(r.left, r.top, r.width, r.height, style.backgroundColor);
    const edge = side => (style[`border${side}Style`] === "none" ? 0 : parseFloat(style[`border${side}Width`]));
    box(r.left, r.top, r.width, edge("Top"), style.borderTopColor);
    box(r.left, r.bottom - edge("Bottom"), r.width, edge("Bottom"), style.borderBottomColor);
    box(r.left, r.top, edge("Left"), r.height, style.borderLeftColor);
    box(r.right - edge("Right"), r.top, edge("Right"), r.height, style.borderRightColor);
    if (style.display === "list-item" && style.listStyleType === "disc")
      boxes.push(`<circle cx="${n(r.left - 12)}" cy="${n(r.top + parseFloat(style.lineHeight) / 2)}" r="3" fill="${style.color}"/>`);
    if (element.matches("audio")) {
      box(r.left, r.top, r.width, r.height, "#f1f3f4", ` rx="${n(r.height / 2)}"`);
      const [x, y] = [r.left + 22, r.top + r.height / 2];
      boxes.push(`<path d="M${n(x)} ${n(y - 6)}l9 6l-9 6z" fill="#000"/>`);
      box(x + 28, y - 2, r.width - 80, 4, "#bbb");
    } else if (element.matches("select, input")) {
      const text = element.matches("select") ? element.selectedOptions[0].label : element.value;
      if (text) say(text, { left: r.left + 12, top: r.top, height: r.height, width: 8.6 * text.length }, style);
    } else {
      for (const child of element.childNodes) {
        if (child.nodeType === 1) walk(child);
        else if (child.nodeType === 3 && child.data.trim()) lines(child, style);
      }
    }
  };
  walk(document.body);
  const height = Math.ceil(document.querySelector("main").getBoundingClientRect().bottom) + 24;
  document.body.innerHTML = "<pre></pre>";
  document.querySelector("pre").textContent = [
    `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 ${innerWidth} ${height}" font-family="DejaVu Serif, Georgia, serif" role="img" aria-label="${LABEL}">`,
    `<rect width="${innerWidth}" height="${height}" fill="#fdfcf8"/>`, ...boxes, ...texts, "</svg>", ""].join("\n");
});
JS

# page.html, what is left out (a CSS selector), what it is called, how wide, the picture
draw() {
    sed -i 's/<meta http-equiv="Content-Security-Policy"[^>]*>//' "$1"
    { printf '<script>const LEFT_OUT = `%s`, LABEL = `%s`;\n' "$2" "$3"; cat "$work/draw.js"; echo '</script>'; } >>"$1"
    chromium --headless --no-sandbox --disable-gpu --hide-scrollbars --window-size="$4,1200" --dump-dom "file://$1" 2>/dev/null |
        python3 -c 'import html, re, sys
print(html.unescape(re.search("<pre>(.*)</pre>", sys.stdin.read(), re.S)[1]).strip())' >"$5"
    grep -q '^<svg' "$5"
    echo "$5: $(wc -c <"$5") bytes"
}

"$program" demo --out "$work/out" >/dev/null
"$program" schedule "$work/out/session.db" --html "$work/schedule.html" --time-zone UTC >/dev/null
draw "$work/schedule.html" \
    'section[aria-labelledby=instruments], section[aria-labelledby=open], section[aria-labelledby=departures], section[aria-labelledby=overrides], section[aria-labelledby=out], .signatures, footer, .readings tbody:first-of-type, .readings tr:nth-child(n+5)' \
    "Parts of a schedule of test results" 1280 schedule.svg
"$program" review "$work/out/session.db" --time-zone UTC >"$work/said" &
page=$!
for _ in $(seq 50); do grep -q http "$work/said" && break || sleep 0.1; done
address=$(grep -o 'http://.*/' "$work/said")
curl -sf "${address}timeline?circuit=1-4" -o "$work/page.html"
curl -sf "${address}review.css" -o "$work/review.css"
draw "$work/page.html" \
    '.timeline > li:not(#event-14, #event-16, #event-17), details > form, footer' \
    "Part of the page on which a session is looked back at" 1000 page.svg
