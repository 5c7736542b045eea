/* The microphone of this machine: what is recorded becomes a wav file in the form, and leaves the browser only when it is sent. */
(function () {
  "use strict";
  var LONGEST_S = 240, recorder = null, ends = 0, address = null;

  function note(button, text) {
    var place = button.parentNode.querySelector(".recorded");
    place.textContent = text;
    return place;
  }

  /* One channel, 16 bit: what the listening needs, and an hour of it is small. */
  function wav(sound) {
    var samples = sound.getChannelData(0), data = new DataView(new ArrayBuffer(44 + 2 * samples.length));
    function word(at, text) { for (var i = 0; i < text.length; i += 1) { data.setUint8(at + i, text.charCodeAt(i)); } }
    word(0, "RIFF"); data.setUint32(4, 36 + 2 * samples.length, true); word(8, "WAVEfmt ");
    data.setUint32(16, 16, true); data.setUint16(20, 1, true); data.setUint16(22, 1, true);
    data.setUint32(24, sound.sampleRate, true); data.setUint32(28, 2 * sound.sampleRate, true);
    data.setUint16(32, 2, true); data.setUint16(34, 16, true);
    word(36, "data"); data.setUint32(40, 2 * samples.length, true);
    for (var i = 0; i < samples.length; i += 1) {
      data.setInt16(44 + 2 * i, Math.max(-1, Math.min(1, samples[i])) * 32767, true);
    }
    return new File([data], "recording.wav", { type: "audio/wav" });
  }

  function put(button, file, seconds) {
    var held = new DataTransfer(), place, link;
    held.items.add(file);
    button.form.elements.wav.files = held.files;
    place = note(button, "Recorded " + Math.round(seconds) + " s. ");
    if (address) { URL.revokeObjectURL(address); }
    address = URL.createObjectURL(file);
    link = document.createElement("a");
    link.href = address;
    link.download = file.name;
    link.textContent = "Save this recording";
    place.appendChild(link);
  }

  function finish(button, parts, kind) {
    var context = new (window.AudioContext || window.webkitAudioContext)();
    note(button, "One moment …");
    new Blob(parts, { type: kind }).arrayBuffer()
      .then(function (bytes) { return context.decodeAudioData(bytes); })
      .then(function (sound) { put(button, wav(sound), sound.duration); })
      .catch(function () { note(button, "Nothing that can be heard was recorded. Check the microphone and record again."); })
      .then(function () { context.close(); });
  }

  function start(button) {
    if (!navigator.mediaDevices || !window.MediaRecorder) {
      note(button, "This browser gives the page no microphone: open the board on this machine itself or by https, or choose a wav file.");
      return;
    }
    var raw = { echoCancellation: false, noiseSuppression: false, autoGainControl: false };
    navigator.mediaDevices.getUserMedia({ audio: raw }).then(function (stream) {
      var parts = [];
      recorder = new MediaRecorder(stream);
      recorder.ondataavailable = function (event) { parts.push(event.data); };
      recorder.onstop = function () {
        var kind = recorder.mimeType;
        stream.getTracks().forEach(function (track) { track.stop(); });
        window.clearTimeout(ends);
        recorder = null;
        button.textContent = "Record again";
        finish(button, parts, kind);
      };
      recorder.start();
      ends = window.setTimeout(function () { if (recorder) { recorder.stop(); } }, 1000 * LONGEST_S);
      button.textContent = "Stop";
      note(button, "Recording …");
    }).catch(function () {
      note(button, "The microphone is not open to this page. Allow it in the browser, or choose a wav file.");
    });
  }

  document.addEventListener("click", function (event) {
    var button = event.target.closest ? event.target.closest("button[data-record]") : null;
    if (!button) { return; }
    if (recorder) { recorder.stop(); } else { start(button); }
  });
}());
