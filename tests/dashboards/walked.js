// Of the element that has the focus: what it is, and whether it can be seen and hit.
() => {
  const one = document.activeElement;
  if (!one || one === document.body) return null;
  const box = one.getBoundingClientRect();
  const style = getComputedStyle(one);
  const row = one.closest('.row');
  const ring = style.outlineStyle !== 'none' ? style : row && getComputedStyle(row);
  const x = Math.min(Math.max(box.left + box.width / 2, 0), innerWidth - 1);
  const low = Math.max(box.top, 0), high = Math.min(box.bottom, innerHeight);
  const seen = [0.1, 0.3, 0.5, 0.7, 0.9].some((share) => {
    const top = document.elementFromPoint(x, low + share * (high - low));
    return Boolean(top && (one.contains(top) || (top.contains(one) && row && row.contains(top))));
  });
  const inline = style.display === 'inline' && one.closest('p, li, td, label');
  return {
    what: one.tagName + '#' + one.id + '.' + one.className + ' ' + (one.innerText || '').slice(0, 30),
    ring: Boolean(ring && ring.outlineStyle !== 'none' && parseFloat(ring.outlineWidth) >= 2),
    seen: high > low && seen,
    small: !inline && (box.width < 24 || box.height < 24) && !one.closest('.skip'),
    place: [...document.querySelectorAll('*')].indexOf(one),
  };
}
