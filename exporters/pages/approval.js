// Puts the view that can be turned in the place of the first picture, once it has drawn one; else the picture stays.
(() => {
  const [picture, host, hint] = ['picture', 'turn', 'hint'].map((id) => document.getElementById(id));

  const still = () => {
    host.hidden = true;
    hint.hidden = true;
    picture.classList.remove('replaced');
  };

  const turning = (view) => {
    picture.classList.add('replaced');
    hint.textContent = 'Drag to turn, pinch to zoom, two fingers to move; tap a badge or a tube to read what it is. '
      + 'A distance measured here is an indication, not a dimension: the tables hold the sizes.';
    hint.hidden = false;
    document.documentElement.dataset.ready = performance.now().toFixed(0);
    window.frameView = view;
  };

  const data = JSON.parse(document.getElementById('frame-data').textContent);
  host.hidden = false; // it needs a size to draw in
  try {
    const view = RailView.create(host, { unit: data.unit, onLost: still });
    if (!view) {
      still();
      return;
    }
    view.setParts(data.parts);
    view.setHighlights(data.highlights);
    view.setPoints(data.points);
    view.setCamera('pictorial');
    requestAnimationFrame(() => requestAnimationFrame(() => turning(view)));
  } catch (error) {
    still();
    throw error;
  }
})();
