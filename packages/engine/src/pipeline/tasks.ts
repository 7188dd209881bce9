import type { RunContext } from '../base/index.ts';
import { type ErrorLikelihood, errorLikelihood, type LikelihoodTask } from '../covariance/index.ts';
import {
  type FusionPlan,
  type FusionScanMeta,
  type FusionTileInput,
  fuseTile,
  measureFusionScan,
  type SampledScan,
  sampleFusionScan,
  type TileResult,
} from '../fuse/index.ts';
import type { Pose } from '../math/index.ts';
import type { ScanData } from '../model/index.ts';
import {
  type AssemblyScan,
  describeForAssembly,
  findMovedParts,
  type MeasureOverlapOptions,
  type MovedPart,
  matchPair,
  measureOverlap,
  type OverlapMeasurement,
  type PairMatch,
  type PairMatchInput,
  type PreparedScan,
  prepareScan,
  type RefinedPose,
  refinePose,
  widenPoints,
} from '../register/index.ts';
import type { FuseScan } from './fuse-input.ts';
import { internScan, type KeyedScan } from './interned-scan.ts';
import { posedScan } from './posed-scan.ts';
import type { PipelineTask } from './task-runner.ts';

/** Input of the task `prepare-scan`. */
export interface PrepareTask {
  readonly data: ScanData;
  readonly subject: string;
  /** From the instrument sheet, mm: used where it is larger than what the scan itself shows; null: the scan's own. */
  readonly sheetNoise: number | null;
}

/** Input of the task `describe-scan`. */
export interface DescribeTask {
  readonly scan: PreparedScan;
  readonly spacing: number;
}

/** Input of the task `refine-pair`. */
export interface RefineTask {
  readonly source: KeyedScan;
  readonly target: KeyedScan;
  readonly start: Pose;
}

/** Input of the tasks `measure-overlap` and `find-moved-parts`. */
export interface OverlapTask {
  readonly a: KeyedScan;
  readonly b: KeyedScan;
  readonly bFromA: Pose;
  readonly options: Partial<MeasureOverlapOptions>;
}

async function prepare(input: PrepareTask, context: RunContext): Promise<PreparedScan> {
  const prepared = await prepareScan(input.data, { subject: input.subject }, context);
  // The sheet knows slow errors that no neighbourhood shows; the scan shows what the sheet is too kind about.
  return { ...prepared, noise: Math.max(prepared.noise, input.sheetNoise ?? 0) };
}

async function describe(input: DescribeTask): Promise<AssemblyScan> {
  return describeForAssembly(input.scan, input.spacing);
}

async function match(input: PairMatchInput): Promise<PairMatch> {
  return matchPair(input);
}

function refine(input: RefineTask, context: RunContext): Promise<RefinedPose> {
  return refinePose(internScan(input.source), internScan(input.target), { start: input.start }, context);
}

function overlap(input: OverlapTask, context: RunContext): Promise<OverlapMeasurement> {
  return measureOverlap(internScan(input.a), internScan(input.b), input.bFromA, input.options, context);
}

/** Output of the task `find-moved-parts`. */
export interface MovedPartsOutput {
  readonly parts: readonly MovedPart[];
  /** Points of the parts and close around them: what an overlap leaves out. */
  readonly exclude: MeasureOverlapOptions['exclude'];
}

/** Spacings around a moved part in which a local surface may run across both. */
const EXCLUDED_RIM = 2;

async function movedParts(input: OverlapTask, context: RunContext): Promise<MovedPartsOutput> {
  const [a, b] = [internScan(input.a), internScan(input.b)];
  const parts = await findMovedParts(a, b, input.bFromA, input.options, context);
  if (parts.length === 0) return { parts, exclude: null };
  const joined = (lists: readonly Uint32Array[]): Uint32Array =>
    Uint32Array.from(lists.flatMap((list) => Array.from(list))).sort();
  const rim = EXCLUDED_RIM * Math.max(a.spacing, b.spacing);
  const exclude = {
    a: widenPoints(a, joined(parts.map((part) => part.points)), rim),
    b: widenPoints(b, joined(parts.map((part) => part.pointsOfB)), rim),
  };
  return { parts, exclude };
}

async function likelihood(input: LikelihoodTask): Promise<ErrorLikelihood> {
  return errorLikelihood(input);
}

/** Input of the task `sample-fusion-scan`. */
export interface SampleFusionTask {
  readonly scan: FuseScan;
  readonly noise: number;
  readonly plan: FusionPlan;
}

async function measureFusion(scan: FuseScan, context: RunContext): Promise<FusionScanMeta> {
  const noise = scan.noise ?? (await prepareScan(scan.data, { subject: scan.id }, context)).noise;
  return measureFusionScan(posedScan(scan, noise));
}

async function sampleFusion(input: SampleFusionTask): Promise<SampledScan> {
  return sampleFusionScan(posedScan(input.scan, input.noise), input.plan);
}

async function fuseOneTile(input: FusionTileInput): Promise<TileResult> {
  return fuseTile(input);
}

/** Every step that may run on a worker, by name. */
export const PIPELINE_TASKS: Readonly<Record<string, PipelineTask>> = {
  'prepare-scan': prepare as PipelineTask,
  'describe-scan': describe as PipelineTask,
  'match-pair': match as PipelineTask,
  'refine-pair': refine as PipelineTask,
  'measure-overlap': overlap as PipelineTask,
  'find-moved-parts': movedParts as PipelineTask,
  'error-likelihood': likelihood as PipelineTask,
  'measure-fusion-scan': measureFusion as PipelineTask,
  'sample-fusion-scan': sampleFusion as PipelineTask,
  'fuse-tile': fuseOneTile as PipelineTask,
};
