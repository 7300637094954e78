// Save a chart as PNG: the page's own SVG, drawn on paper at twice its size, alone or in the frame of a slide.
"use strict";
(() => {
  for (const button of document.querySelectorAll("button.save")) {
    button.addEventListener("click", async () => {
      const link = button.closest(".beside").querySelector('a[download$=".svg"]');
      const picture = new Image();
      picture.src = link.href;
      await picture.decode();
      const shape = button.dataset.shape;
      const [wide, high] = shape === "page" ? [picture.width, picture.height] : shape.split("x").map(Number);
      const fits = Math.min(wide / picture.width, high / picture.height);
      const canvas = Object.assign(document.createElement("canvas"), {width: 2 * wide, height: 2 * high});
      const pen = canvas.getContext("2d");
      pen.fillStyle = "#FDFCF9";
      pen.fillRect(0, 0, canvas.width, canvas.height);
      pen.scale(2, 2);
      pen.drawImage(picture, (wide - fits * picture.width) / 2, (high - fits * picture.height) / 2,
        fits * picture.width, fits * picture.height);
      const blob = await new Promise((done) => canvas.toBlob(done, "image/png"));
      const save = Object.assign(document.createElement("a"), {href: URL.createObjectURL(blob),
        download: link.download.replace(".svg", shape === "page" ? ".png" : `-${shape}.png`)});
      save.click();
      setTimeout(() => URL.revokeObjectURL(save.href), 10000);
    });
  }
  for (const part of document.querySelectorAll(".beside [data-needs-script]")) part.hidden = false;
})();
