/* Who solves: a worker thread for each side, so that the page stays awake; where a browser starts
   none, the page itself. */
class Solver {
  constructor(scenes) {
    this.scenes = scenes;
    this.lanes = [0, 1].map(() => ({ busy: null, next: null, worker: null }));
    this.local = null;
    scenes.forEach((scene, s) => scene.families.forEach((family, f) => family.forEach((p, i) => {
      p.id = [s, f, i];
    })));
  }

  worker() {
    const source = new Blob([document.getElementById("solver").textContent], { type: "text/javascript" });
    const url = URL.createObjectURL(source), worker = new Worker(url);
    worker.postMessage({ scenes: this.scenes });
    return worker;
  }

  /* The answer to a question on a side's lane; null where a newer one took its place. */
  ask({ id, controls }, side = 0) {
    const lane = this.lanes[side];
    return new Promise((done, failed) => {
      if (lane.next) lane.next.done(null);
      lane.next = { id, controls, done, failed };
      if (!lane.busy) this.start(lane);
    });
  }

  async start(lane) {
    const job = lane.busy = lane.next;
    lane.next = null;
    if (!job) return;
    try {
      job.done(await this.solve(lane, job));
    } catch (error) {
      job.failed(error);
    }
    this.start(lane);
  }

  solve(lane, { id, controls }) {
    if (this.alone) return this.here({ id, controls });
    if (!lane.worker) {
      try {
        lane.worker = this.worker();
      } catch {
        this.alone = true;
        return this.here({ id, controls });
      }
    }
    return new Promise((done, failed) => {
      lane.worker.onmessage = ({ data }) => done(data.answer);
      lane.worker.onerror = (e) => failed(new Error(e.message));
      lane.worker.postMessage({ number: 0, id, controls });
    });
  }

  here(question) {
    this.local ??= new Problems(this.scenes);
    return this.local.answer(question);
  }
}
