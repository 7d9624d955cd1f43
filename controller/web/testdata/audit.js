// What a page lacks, as short sentences. Part: "parts", "look", "size" or "large".
function (part) {
  const faults = [];
  const all = s => [...document.querySelectorAll(s)];
  const seen = e => e.checkVisibility({ opacityProperty: true, visibilityProperty: true }) && e.getBoundingClientRect().width > 0;
  const short = e => e.outerHTML.slice(0, 70).replace(/\s+/g, " ");
  const fault = text => faults.push(text);
  const controls = "a[href], button, summary, input:not([type=hidden]), select, textarea";
  function name(e) {
    const by = (e.getAttribute("aria-labelledby") || "").split(" ").map(id => document.getElementById(id)?.textContent || "").join(" ");
    return (by.trim() || e.getAttribute("aria-label") || e.getAttribute("title") || [...e.querySelectorAll("[aria-label]")].map(x => x.getAttribute("aria-label")).join(" ") || e.textContent || "").trim();
  }
  function parts() {
    if (!document.documentElement.lang) fault("no language");
    if (!document.title.trim()) fault("no title");
    for (const [tag, want] of [["main", 1], ["h1", 1]]) if (all(tag).length !== want) fault(all(tag).length + " " + tag + " instead of " + want);
    if (/user-scalable=no|maximum-scale/.test(document.querySelector("meta[name=viewport]")?.content || "")) fault("the page cannot be zoomed");
    let last = 0;
    for (const h of all("h1, h2, h3, h4").filter(seen)) {
      const level = +h.tagName[1];
      if (level > last + 1) fault("h" + level + " after h" + last + ": " + h.textContent.trim().slice(0, 30));
      if (!h.textContent.trim()) fault("an empty heading");
      last = level;
    }
    for (const e of all("button, a[href], summary, svg[role=img], img").filter(e => e.checkVisibility())) if (!name(e) && !e.hasAttribute("alt")) fault("no name: " + short(e));
    for (const e of all("svg:not([role=img]):not([role=group]):not([aria-hidden=true])")) fault("a drawing that is neither named nor hidden: " + short(e));
    for (const e of all("input:not([type=hidden]), select, textarea")) {
      if (![...e.labels || []].some(l => l.textContent.trim()) && !e.getAttribute("aria-label")) fault("no label: " + e.name);
    }
    const ids = all("[id]").map(e => e.id);
    for (const id of new Set(ids.filter((id, i) => ids.indexOf(id) !== i))) fault("id twice: " + id);
    for (const e of all("[aria-labelledby], [aria-describedby], [aria-controls], label[for]")) {
      for (const a of ["aria-labelledby", "aria-describedby", "aria-controls", "for"]) {
        for (const id of (e.getAttribute(a) || "").split(" ").filter(Boolean)) if (!document.getElementById(id)) fault("nothing has the id " + id);
      }
    }
    for (const a of all("a[href^='#']")) if (!document.getElementById(a.getAttribute("href").slice(1))) fault("nothing has the id " + a.getAttribute("href").slice(1));
    for (const e of all("ul > :not(li), ol > :not(li)")) fault(e.tagName.toLowerCase() + " in a " + e.parentElement.tagName.toLowerCase());
    for (const e of all("li")) if (!e.parentElement.matches("ul, ol")) fault("an li outside a list");
    for (const t of all("table")) {
      if (!t.querySelector("th")) fault("a table with no th");
      for (const th of t.querySelectorAll("th")) if (!th.getAttribute("scope")) fault("a th without scope: " + th.textContent.slice(0, 30));
    }
    for (const e of all("a[href], button, summary, label")) for (const inner of e.querySelectorAll("a[href], button, summary")) fault("one control in another: " + short(inner));
    for (const e of all("[tabindex]")) if (e.tabIndex > 0) fault("tabindex " + e.tabIndex);
    const marks = "header, main, footer, nav, [role=banner], script, noscript";
    for (const e of document.body.children) if (!e.matches(marks) && seen(e)) fault("outside of every landmark: " + short(e));
    for (const e of all("[role]")) if (!["img", "group", "alert", "status", "banner", "list", "note"].includes(e.getAttribute("role"))) fault("role " + e.getAttribute("role"));
    for (const f of document.forms) if (f.querySelectorAll("button:not([hidden])").length === 0) fault("a form without a button");
  }
  const rgb = c => { const v = (c.match(/[\d.]+/g) || [0, 0, 0]).map(Number); return c.startsWith("color(") ? v.map((x, i) => i < 3 ? 255 * x : x) : v };
  const light = c => { const [r, g, b] = c.map(v => (v /= 255) <= .03928 ? v / 12.92 : ((v + .055) / 1.055) ** 2.4); return .2126 * r + .7152 * g + .0722 * b };
  const behind = e => { for (; e; e = e.parentElement) { const c = rgb(getComputedStyle(e).backgroundColor); if (c.length < 4 || c[3] > 0) return c } return rgb(matchMedia("(prefers-color-scheme: dark)").matches ? "rgb(18, 18, 18)" : "rgb(255, 255, 255)") };
  const ratio = (a, b) => { const x = light(a.slice(0, 3)), y = light(b.slice(0, 3)); return (Math.max(x, y) + .05) / (Math.min(x, y) + .05) };
  function look() {
    const how = matchMedia("(prefers-color-scheme: dark)").matches ? "dark" : "light";
    for (const e of all("body *")) {
      if (!seen(e) || ![...e.childNodes].some(n => n.nodeType === 3 && n.textContent.trim())) continue;
      const style = getComputedStyle(e);
      const r = ratio(rgb(e.closest("svg") ? style.fill : style.color), behind(e));
      if (r < 4.5) fault("contrast " + r.toFixed(1) + " (" + how + "): " + e.textContent.trim().slice(0, 30));
    }
    for (const e of all("input:not([type=hidden]), select, textarea").filter(seen)) {
      const hint = ratio(rgb(getComputedStyle(e, "::placeholder").color), behind(e));
      if (e.placeholder && hint < 4.5) fault("contrast " + hint.toFixed(1) + " (" + how + "): the hint in " + e.name);
      const edge = ratio(rgb(getComputedStyle(e).borderTopColor), behind(e.parentElement));
      if (edge < 3) fault("contrast " + edge.toFixed(1) + " (" + how + "): the edge of " + e.name);
    }
  }
  function size(large) {
    const wide = innerWidth;
    const at = " at " + wide + (large ? ", letters twice as large" : "");
    if (document.documentElement.scrollWidth > document.documentElement.clientWidth) {
      const clipped = e => { for (e = e.parentElement; e && e !== document.body; e = e.parentElement) if (getComputedStyle(e).overflowX === "hidden") return true; return false };
      const e = all("body *").filter(e => seen(e) && !clipped(e)).sort((a, b) => b.getBoundingClientRect().right - a.getBoundingClientRect().right)[0];
      fault(document.documentElement.scrollWidth + " px wide" + at + ": " + (e ? short(e) : ""));
    }
    if (large) return;
    for (const e of all(controls).filter(seen)) {
      // A link within a sentence is as high as its line, and a box is as large as its label.
      if (e.matches("a") && getComputedStyle(e).display === "inline" || e.closest("svg")) continue;
      const box = (e.matches("[type=checkbox], [type=radio]") ? e.closest("label") || e : e).getBoundingClientRect();
      if (box.width < 43.5 || box.height < 43.5) fault("smaller than 44 px" + at + ": " + short(e) + " " + Math.round(box.width) + " x " + Math.round(box.height));
    }
    for (const e of all("body *").filter(seen)) {
      const style = getComputedStyle(e);
      if (style.overflowY === "hidden" && e.textContent.trim() && e.scrollHeight > e.clientHeight + 2 && !e.matches("svg, svg *")) fault("cut off" + at + ": " + e.textContent.trim().slice(0, 40));
    }
  }
  ({ parts, look, size: () => size(false), large: () => size(true) })[part]();
  return faults;
}
