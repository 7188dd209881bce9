import type { AlignmentResult, FramePose, ScaleTerm } from '@lapjoint/engine';

/** Poses that take coordinates already multiplied by the factor of their frame, about the frame's origin. */
export interface ScaledFrames {
  readonly frames: readonly FramePose[];
  /** By frame; frames that are not named: 1. */
  readonly factors: Readonly<Record<string, number>>;
}

/**
 * Puts the scales that an adjustment estimated into what is kept of it: a factor for the coordinates of each frame, and poses
 * that go with it.
 *
 * Method   a frame is too long by s about its middle: p = m + (P x - m) / (1 + s), with P its pose and m its middle in the job.
 *          The same as multiplying x by 1 / (1 + s) about the frame's origin and moving the pose's shift towards m.
 */
export function applyEstimatedScales(result: AlignmentResult, terms: readonly ScaleTerm[]): ScaledFrames {
  const values = new Map((result.scales ?? []).map((scale) => [scale.name, scale.value]));
  const factors: Record<string, number> = {};
  const frames = result.frames.map((pose): FramePose => {
    let stretch = 0;
    for (const term of terms) {
      if (term.isEstimated) stretch += (term.coefficients.get(pose.frame) ?? 0) * (values.get(term.name) ?? 0);
    }
    const { jobFromFrame, covarianceReference: middle } = pose;
    if (stretch === 0 || jobFromFrame === null || middle === null) return pose;
    const factor = 1 / (1 + stretch);
    factors[pose.frame] = factor;
    const [x, y, z] = jobFromFrame.translation;
    const translation = [
      middle[0] + factor * (x - middle[0]),
      middle[1] + factor * (y - middle[1]),
      middle[2] + factor * (z - middle[2]),
    ] as const;
    return { ...pose, jobFromFrame: { rotation: jobFromFrame.rotation, translation } };
  });
  return { frames, factors };
}
