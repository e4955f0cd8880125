// Of elements: those whose text is too faint on the first ground that is not see-through.
(targets) => {
  const rgba = (text) => { const n = text.match(/[\d.]+/g).map(Number); return [...n, 1].slice(0, 4); };
  const over = (top, under) => [0, 1, 2].map((i) => top[i] * top[3] + under[i] * (1 - top[3]));
  const light = (c) => [0.2126, 0.7152, 0.0722].reduce((sum, weight, i) => {
    const v = c[i] / 255; return sum + weight * (v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
  }, 0);
  const found = [];
  for (const target of targets) {
    const one = document.querySelector(target);
    if (!one || !one.innerText && !one.value) continue;
    const grounds = []; let opacity = 1;
    for (let at = one; at; at = at.parentElement) {
      const style = getComputedStyle(at);
      opacity *= Number(style.opacity);
      const ground = rgba(style.backgroundColor);
      if (ground[3] > 0) grounds.push(ground);
      if (ground[3] === 1) break;
    }
    let ground = [255, 255, 255];
    for (const each of grounds.reverse()) ground = over(each, ground);
    const style = getComputedStyle(one);
    const ink = rgba(one.tagName.toLowerCase() === 'text' ? style.fill : style.color);
    ink[3] *= opacity;
    const [a, b] = [light(over(ink, ground)), light(ground)];
    const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
    const size = parseFloat(style.fontSize), bold = Number(style.fontWeight) >= 700;
    const large = size >= 24 || (bold && size >= 18.66);
    if (ratio < (large ? 3 : 4.5)) found.push([target, one.innerText, ratio.toFixed(2)]);
  }
  return found;
}
