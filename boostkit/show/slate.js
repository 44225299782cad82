// Paints the dots that Python has drawn (slate.py). Nothing is reckoned here.

function inks(bytes) {
  const found = new Uint32Array(256);
  for (let n = 0; 3 * n + 2 < bytes.byteLength; n++) {
    const part = (k) => bytes.getUint8(3 * n + k);
    found[n] = 0xff000000 | (part(2) << 16) | (part(1) << 8) | part(0);
  }
  return found;
}

function render({ model, el }) {
  const canvas = document.createElement("canvas"), pen = canvas.getContext("2d");
  canvas.className = "boostkit-slate";
  canvas.setAttribute("role", "img");
  canvas.style.width = "100%";
  let image = null, ink = null;
  const paint = () => {
    const [width, height] = model.get("size");
    if (!width || !height) return;
    if (!image || image.width !== width || image.height !== height) {
      [canvas.width, canvas.height] = [width, height];
      image = pen.createImageData(width, height);
    }
    ink ??= inks(model.get("palette"));
    const dots = model.get("dots"), shown = new Uint32Array(image.data.buffer);
    for (let n = 0; n < shown.length; n++) shown[n] = ink[dots.getUint8(n)];
    pen.putImageData(image, 0, 0);
    canvas.setAttribute("aria-label", model.get("words"));
  };
  model.on("change:dots", paint);
  el.append(canvas);
  paint();
  return () => model.off("change:dots", paint);
}

export default { render };
