import {
  type AdviseFrame,
  type AdviseInput,
  adviseTie,
  type JobScan,
  type JointCovariance,
  jointPointCovariance,
  type ReportFramePlace,
  type ReportTiePlace,
  type ReportTrust,
  type RunContext,
  type ScanData,
  symmetricEigen,
  type Vec3,
} from '@lapjoint/engine';
import type { JobStore } from '../store/job-store.ts';
import { adviseInputOfJob } from './advise-input-of-job.ts';
import { jointCovarianceOf } from './joint-covariance-of.ts';
import { recordedScaleTerms } from './recorded-scale-terms.ts';

/** Expanded uncertainties are stated for k = 2. */
const COVERAGE = 2;

/**
 * What the report says about trust beside the alignment itself: where frames and ties lie and how well that is known, errors
 * of length, temperatures, and what would help most. Null when nothing was adjusted.
 */
export async function trustOfJob(
  store: JobStore,
  context: RunContext,
  scanOf: (scan: JobScan) => Promise<ScanData>,
): Promise<ReportTrust | null> {
  const { document } = store;
  if (document.alignment === null || document.alignment.covarianceSha256 === null) return null;
  const joint = await jointCovarianceOf(store);
  const input = await adviseInputOfJob(store, joint, context.part(0, 0.6), scanOf);
  await context.checkpoint(0.6, 'what would help most');
  const extents = [0, 1, 2].map((k) => {
    const values = input.frames.map((frame) => extentOf(frame, k));
    return Math.max(...values.map(([, high]) => high)) - Math.min(...values.map(([low]) => low));
  });
  return {
    framePlaces: input.frames.map((frame) => placeOfFrame(frame, input, joint)),
    tiePlaces: input.ties.map(
      ({ id, frameA, frameB, place }): ReportTiePlace => ({
        tie: id,
        place,
        hold: relativeUncertainty(joint, frameA, frameB, place),
      }),
    ),
    lengthTerms: recordedScaleTerms(document.alignment.record).map(({ name, sigma, coefficients, isEstimated }) => ({
      name,
      sigma: sigma * Math.max(...[...coefficients.values()].map(Math.abs)),
      frames: [...coefficients.keys()],
      isEstimated,
    })),
    temperatures: document.sessions.flatMap(({ name, thermal }) =>
      thermal === undefined
        ? []
        : [
            {
              session: name,
              material: thermal.material ?? 'stated coefficient',
              celsius: thermal.temperatureCelsius,
              celsiusUncertainty: thermal.temperatureUncertainty,
              expansion: thermal.expansion,
              expansionUncertainty: thermal.expansionUncertainty,
            },
          ],
    ),
    largestLength: input.frames.length === 0 ? null : Math.max(...extents),
    advice: adviseTie(input),
  };
}

function extentOf({ places }: AdviseFrame, axis: number): readonly [number, number] {
  let [low, high] = [Infinity, -Infinity];
  for (let i = axis; i < places.length; i += 3) {
    low = Math.min(low, places[i] as number);
    high = Math.max(high, places[i] as number);
  }
  return [low, high];
}

/** Middle and most uncertain place of a frame; none for the frame that is the job's. */
function placeOfFrame(frame: AdviseFrame, input: AdviseInput, joint: JointCovariance): ReportFramePlace {
  const { places } = frame;
  const count = places.length / 3;
  const sums = [0, 1, 2].map((k) => {
    let sum = 0;
    for (let i = k; i < places.length; i += 3) sum += (places[i] as number) - (places[k] as number);
    return (places[k] as number) + sum / count;
  });
  const middle = sums as unknown as Vec3;
  const covarianceAt = (point: Vec3): Float64Array | null =>
    frame.frame === input.datum ? null : jointPointCovariance(joint, [{ frame: frame.frame, point }]);
  let farEnd: Vec3 | null = null;
  let farEndCovariance: Float64Array | null = null;
  let largest = 0;
  for (let i = 0; i < places.length; i += 3) {
    const point: Vec3 = [places[i] as number, places[i + 1] as number, places[i + 2] as number];
    const covariance = covarianceAt(point);
    if (covariance === null) break;
    const value = symmetricEigen(covariance, 3).values[2] as number;
    if (!(value > largest)) continue;
    largest = value;
    farEnd = point;
    farEndCovariance = covariance;
  }
  const own = covarianceAt(middle);
  return {
    frame: frame.frame,
    middle,
    middleCovariance: own === null ? null : [...own],
    farEnd,
    farEndCovariance: farEndCovariance === null ? null : [...farEndCovariance],
  };
}

/** Expanded uncertainty (k = 2) of one frame against another at a place, largest direction, mm. */
function relativeUncertainty(joint: JointCovariance, frameA: string, frameB: string, place: Vec3): number | null {
  const both = jointPointCovariance(joint, [
    { frame: frameA, point: place },
    { frame: frameB, point: place },
  ]);
  if (both === null) return null;
  const difference = Array.from({ length: 9 }, (_, k) => {
    const [i, j] = [Math.floor(k / 3), k % 3];
    const at = (r: number, c: number): number => both[6 * r + c] as number;
    return at(i, j) + at(3 + i, 3 + j) - at(i, 3 + j) - at(3 + i, j);
  });
  return COVERAGE * Math.sqrt(Math.max(0, symmetricEigen(difference, 3).values[2] as number));
}
