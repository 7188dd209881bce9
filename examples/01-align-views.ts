// Three views of one object, each in a frame of its own, placed in one frame without any guess.
// Expect: every view placed within 0.2 mm of the truth, or refused with a reason.
import { createRequire } from 'node:module';
import {
  alignScans,
  compose,
  cutPartialView,
  invert,
  makeRunContext,
  makeSerialRunner,
  PIPELINE_TASKS,
  type Pose,
  quaternionOfVector,
  type ScanData,
  transformPoint,
} from '@lapjoint/engine';

const require = createRequire(import.meta.url);
const { positions, cells } = require('bunny') as { positions: number[][]; cells: number[][] };
const model: ScanData = {
  origin: [0, 0, 0],
  positions: Float32Array.from(positions.flat(), (x) => 10 * x),
  normals: null,
  colors: null,
  triangles: Uint32Array.from(cells.flat()),
  viewpoint: null,
};

const context = makeRunContext();
const frames: { name: string; frameFromModel: Pose; data: ScanData }[] = [];
for (const [i, name] of ['front', 'left', 'right'].entries()) {
  const angle = [0, 0.9, -0.9][i] as number;
  const frameFromModel: Pose = { rotation: quaternionOfVector([i, 2 * i, -i]), translation: [1000 * i, -500 * i, 200] };
  const options = { scanFromMesh: frameFromModel, instrument: { noise: { white: 0.05, correlated: [] } }, name };
  frames.push({
    name,
    frameFromModel,
    data: await cutPartialView(model, [Math.sin(angle), 0.3, Math.cos(angle)], options, context),
  });
}

const result = await alignScans(
  {
    frames: frames.map(({ name }) => name),
    scans: frames.map(({ name, data }) => ({ id: name, name, frame: name, data, noise: null })),
    targetLists: [],
    ties: [],
  },
  {},
  makeSerialRunner(PIPELINE_TASKS),
  context,
);

for (const [i, frame] of result.frames.entries()) {
  if (frame.jobFromFrame === null) {
    console.log(`${frame.frame}: refused. ${frame.message} ${frame.remedy}`);
    continue;
  }
  const { frameFromModel, data } = frames[i] as (typeof frames)[number];
  const jobFromModel = (frames[0] as (typeof frames)[number]).frameFromModel;
  const truth = compose(jobFromModel, invert(frameFromModel));
  const [found, expected] = [transformPoint(frame.jobFromFrame, data.origin), transformPoint(truth, data.origin)];
  const deviation = Math.hypot(...found.map((v, k) => v - (expected[k] as number)));
  console.log(`${frame.frame}: ${frame.status}, ${deviation.toFixed(4)} mm from the truth. ${frame.message}`);
  if (!(deviation < 0.2)) throw new Error(`${frame.frame} is placed wrong.`);
}
