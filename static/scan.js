// Reads a ticket's code with the camera where the browser can decode one itself; anywhere
// else the phone's own camera opens the address.
"use strict";
(() => {
  if (!("BarcodeDetector" in window) || !navigator.mediaDevices) return;
  const button = document.querySelector("button[data-scan]");
  if (!button) return;
  button.hidden = false;
  button.addEventListener("click", async () => {
    const video = Object.assign(document.createElement("video"), { playsInline: true, muted: true });
    const sheet = document.createElement("dialog");
    const close = Object.assign(document.createElement("button"), { className: "button", textContent: "Close" });
    sheet.className = "scanner";
    sheet.append(video, close);
    document.body.append(sheet);
    sheet.showModal();
    let stream = null;
    const end = () => { stream?.getTracks().forEach((track) => track.stop()); sheet.remove(); };
    sheet.addEventListener("close", end);
    close.addEventListener("click", () => sheet.close());
    try {
      stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
      if (!sheet.isConnected) { end(); return; }
      video.srcObject = stream;
      await video.play();
    } catch {
      close.textContent = "The camera was not allowed. Close";
      return;
    }
    const detector = new BarcodeDetector({ formats: ["qr_code"] });
    while (sheet.isConnected) {
      const [found] = await detector.detect(video).catch(() => []);
      const code = found?.rawValue.match(/\/T\/([0-9A-Z]{8})$/i);
      if (code) { location.href = `/t/${code[1]}`; return; }
      await new Promise((next) => setTimeout(next, 150));
    }
  });
})();
