/* Who solves: a worker thread for each side, so that the page stays awake; where a browser starts
   none, the page itself. */
class Solver {
  constructor(scenes) {
    this.lanes = [0, 1].map(() => ({ busy: null, next: null, worker: null, sent: new Set() }));
    this.local = null;
    scenes.forEach((scene, s) => scene.families.forEach((family, f) => family.forEach((p, i) => {
      p.id = [s, f, i].join();
    })));
  }

  worker() {
    const source = new Blob([document.getElementById("solver").textContent], { type: "text/javascript" });
    return new Worker(URL.createObjectURL(source));
  }

  /* The answer to a question on a side's lane; null where a newer one took its place. */
  ask(asked, side = 0) {
    const lane = this.lanes[side];
    return new Promise((done, failed) => {
      if (lane.next) lane.next.done(null);
      lane.next = { asked, done, failed };
      if (!lane.busy) this.start(lane);
    });
  }

  async start(lane) {
    const job = lane.busy = lane.next;
    lane.next = null;
    if (!job) return;
    try {
      job.done(await this.solve(lane, job.asked));
    } catch (error) {
      job.failed(error);
    }
    this.start(lane);
  }

  solve(lane, asked) {
    if (this.alone) return this.here(asked);
    if (!lane.worker) {
      try {
        lane.worker = this.worker();
      } catch {
        this.alone = true;
        return this.here(asked);
      }
    }
    const { id, problem, controls, scene: { limits } } = asked;
    const given = lane.sent.has(id) ? undefined : problem;   // it is sent once
    lane.sent.add(id);
    return new Promise((done, failed) => {
      lane.worker.onmessage = ({ data }) => done(data);
      lane.worker.onerror = (e) => failed(new Error(e.message));
      lane.worker.postMessage({ id, given, controls, limits });
    });
  }

  here({ id, problem, controls, scene: { limits } }) {
    this.local ??= new Problems();
    return this.local.answer({ id, given: problem, controls, limits });
  }
}
