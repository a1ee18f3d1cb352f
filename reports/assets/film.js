// The video beside the strip, where there is one: the cursor and it follow each other.
const film = (() => {
  const video = document.querySelector("#video");
  if (!video) return { follow: () => {}, run: () => {}, instant: () => null, listen: () => {} };
  video.addEventListener("error", () => video.closest("figure").setAttribute("hidden", ""));
  const start = Number(video.dataset.start);
  const close = 0.04;
  const within = (t) => t + start >= 0 && t + start <= (video.duration || Infinity);

  let asked = null;
  let wanted = false;
  let outside = false;

  const begin = () => { video.play().catch(() => {}); };

  // Before and after the video the cursor goes on alone; while it runs, a video on its way is left in peace.
  function follow(t) {
    outside = !within(t);
    if (outside || (wanted && video.seeking)) return;
    if (Math.abs(video.currentTime - t - start) > close) {
      asked = t + start;
      video.currentTime = asked;
    }
    if (wanted && video.paused && !video.ended) begin();
  }

  // Whether the video stands where the cursor sent it, or is still on its way there.
  function ours() {
    if (asked === null) return false;
    if (!video.seeking && Math.abs(video.currentTime - asked) < close) asked = null;
    return true;
  }

  function run(on, pace) {
    video.playbackRate = pace;
    wanted = on;
    if (on && video.paused && !outside) begin();
    if (!on && !video.paused) video.pause();
  }

  const running = () => !video.paused && !video.seeking && !video.ended && video.readyState > 2;
  const instant = () => (running() ? video.currentTime - start : null);

  function listen(tell) {
    for (const name of ["seeked", "timeupdate"]) video.addEventListener(name, () => { if (!ours()) tell(video.currentTime - start); });
    video.addEventListener("play", () => tell(video.currentTime - start, true));
    video.addEventListener("pause", () => { if (!video.ended) tell(video.currentTime - start, false); });
  }

  return { follow, run, instant, listen };
})();
