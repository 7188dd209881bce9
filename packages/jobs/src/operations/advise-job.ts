import {
  type Advice,
  type AdviceCandidate,
  type AdviseInput,
  adviseTie,
  type JobDocument,
  type JointCovariance,
  pointUncertaintiesOf,
  type Vec3,
} from '@lapjoint/engine';
import { openJob } from '../store/job-store.ts';
import { adviseInputOfJob } from './advise-input-of-job.ts';
import { contextOf, type OperationHost } from './change-job.ts';
import { pointErrorsOf, pointErrorVariance } from './instrument-part.ts';
import { jointCovarianceOf } from './joint-covariance-of.ts';
import { resultsUpToDate } from './result-record.ts';

/** The place of a job whose stated uncertainty is largest: placement, scale and temperature, and the instrument. */
export interface LargestStated {
  readonly frame: string;
  /** Job frame, mm. */
  readonly place: Vec3;
  /** k = 2, most uncertain direction, mm. */
  readonly expanded: number;
}

/** Whether the work on site may end, against a wanted uncertainty. */
export interface LeaveAnswer {
  readonly isSafe: boolean;
  readonly wanted: number;
  /** In words, the answer first. */
  readonly words: string;
}

/** Something that the figures do not cover. `forbids`: no figure makes it safe to leave while it stands. */
export interface Obstacle {
  readonly words: string;
  readonly forbids: boolean;
}

/** What `advise` says. */
export interface AdviseJobResult {
  readonly upToDate: boolean;
  readonly advice: Advice;
  readonly largest: LargestStated | null;
  /** What keeps the stated uncertainty from being the whole truth; empty when nothing does. */
  readonly obstacles: readonly Obstacle[];
  /** null when no wanted uncertainty was given. */
  readonly leave: LeaveAnswer | null;
}

/**
 * What would help a job most: the place that is known worst, single ties that would lower its uncertainty, and, against a wanted
 * uncertainty, whether it is safe to leave the site. Needs no lock.
 *
 * @param wanted stated uncertainty that every captured place should keep, k = 2, mm; null: no answer, the table only
 * @throws AppError those of `jointCovarianceOf` and of opening the job
 */
export async function adviseJob(
  folder: string,
  wanted: number | null,
  host: Omit<OperationHost, 'runner'>,
): Promise<AdviseJobResult> {
  const store = await openJob(folder, host.storage);
  const { document } = store;
  const context = contextOf(host, document.seed);
  const joint = await jointCovarianceOf(store);
  const input = await adviseInputOfJob(store, joint, context.part(0, 0.5));
  await context.checkpoint(0.5, 'trying ties');
  const advice = adviseTie(input);
  const largest = largestStated(document, input, joint);
  const upToDate = resultsUpToDate(document).alignment;
  const obstacles = obstaclesOf(document, upToDate);
  await context.checkpoint(1);
  return {
    upToDate,
    advice,
    largest,
    obstacles,
    leave: wanted === null ? null : answer(wanted, largest, advice, obstacles, document),
  };
}

/** U of the points that an instrument makes, k = 2, mm; 0 where nothing is known of it. */
function instrumentPart(document: JobDocument, frame: string): number {
  const variances = document.scans
    .filter((scan) => scan.frame === frame)
    .map((scan) => pointErrorsOf(document, scan))
    .map((errors) => (errors === null ? 0 : pointErrorVariance(errors)));
  return 2 * Math.sqrt(Math.max(0, ...variances));
}

function largestStated(document: JobDocument, input: AdviseInput, joint: JointCovariance): LargestStated | null {
  let largest: LargestStated | null = null;
  for (const { frame, places } of input.frames) {
    const [x, y, z] = places;
    if (x === undefined || y === undefined || z === undefined) continue;
    const relative = Float32Array.from(places, (value, i) => value - ([x, y, z][i % 3] as number));
    const placed = pointUncertaintiesOf(joint, frame, relative, [x, y, z]);
    if (placed === null) continue;
    const own = instrumentPart(document, frame);
    placed.forEach((value, i) => {
      const expanded = Math.hypot(value, own);
      if (expanded <= (largest?.expanded ?? 0)) return;
      largest = { frame, place: [places[3 * i], places[3 * i + 1], places[3 * i + 2]] as unknown as Vec3, expanded };
    });
  }
  return largest;
}

function obstaclesOf(document: JobDocument, upToDate: boolean): Obstacle[] {
  const result = document.alignment?.result;
  if (result === undefined) return [];
  const found: Obstacle[] = [];
  const add = (forbids: boolean, words: string): void => {
    found.push({ words: words.trimEnd(), forbids });
  };
  if (!upToDate) add(true, 'The alignment was made before the last change of the job: align again.');
  for (const pose of result.frames) {
    if (pose.status === 'refused') add(true, `Frame ${pose.frame} is not placed. ${pose.remedy}`);
  }
  if (!result.converged) add(true, 'The alignment did not settle.');
  for (const { id, status, message, test } of result.ties) {
    if (status === 'rejected') add(true, `Tie ${id} was rejected. ${message}`);
    if (test?.verdict === 'stands-out') add(true, `Tie ${id} does not fit the rest of the network: look at it.`);
    if (test?.verdict === 'cannot-tell') {
      add(true, `Tie ${id} or one of ${test.confusedWith.join(', ')} is wrong; the network cannot tell which.`);
    }
  }
  const test = result.globalTest;
  if (test !== null && test.probability < test.level) {
    add(true, 'The ties contradict each other by more than their stated uncertainties.');
  }
  for (const part of result.movedParts) add(false, `A part of ${part.scanA} stood elsewhere in ${part.scanB}.`);
  if (document.sessions.some((session) => session.thermal === undefined)) {
    add(false, 'The temperature of some sessions is not stated: what it does to lengths is not in these figures.');
  }
  return found;
}

function mm(value: number): string {
  return `${Number(value.toPrecision(2))} mm`;
}

function answer(
  wanted: number,
  largest: LargestStated | null,
  advice: Advice,
  obstacles: readonly Obstacle[],
  document: JobDocument,
): LeaveAnswer {
  const reasons = obstacles.filter((obstacle) => obstacle.forbids).map((obstacle) => obstacle.words);
  const no = (words: string): LeaveAnswer => ({ isSafe: false, wanted, words: `No. ${words}` });
  if (largest === null) return no('No place of this job has an uncertainty yet.');
  const found = `the largest U is ${mm(largest.expanded)} (k = 2), in frame ${largest.frame} at (${largest.place
    .map((value) => value.toFixed(0))
    .join(', ')}) mm; wanted is ${mm(wanted)}.`;
  if (largest.expanded <= wanted) {
    if (reasons.length > 0) return no(`By the figures it would be: ${found} But: ${reasons.join(' ')}`);
    return { isSafe: true, wanted, words: `Yes, it is safe to leave: ${found}` };
  }
  const enough = advice.candidates.find((candidate) => largestAfter(candidate, document) <= wanted);
  const best = enough ?? advice.candidates[0];
  const cure =
    best === undefined
      ? advice.remark
      : enough === undefined
        ? `No single tie is enough; the best leaves ${mm(largestAfter(best, document))}: ${best.words} Add it, align, and ask again.`
        : `This brings it to ${mm(largestAfter(enough, document))}: ${enough.words}`;
  return no([`It is not safe to leave: ${found}`, cure, ...reasons].filter((words) => words !== '').join(' '));
}

/** Largest stated uncertainty anywhere with a tie added, the instrument included. */
function largestAfter(candidate: AdviceCandidate, document: JobDocument): number {
  return Math.hypot(candidate.largestAfter, instrumentPart(document, candidate.largestAfterFrame));
}
