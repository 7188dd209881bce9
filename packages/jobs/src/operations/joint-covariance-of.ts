import { AppError, type JointCovariance } from '@lapjoint/engine';
import { decodeCovarianceBlob } from '../store/covariance-blob.ts';
import type { JobStore } from '../store/job-store.ts';

/**
 * The covariance of all frames of a job together.
 *
 * @throws AppError `not-aligned`; `covariance-unknown` when nothing was adjusted, or an early version did it; `blob-missing`,
 *         `blob-changed`
 */
export async function jointCovarianceOf(job: Pick<JobStore, 'document' | 'blobs'>): Promise<JointCovariance> {
  const { alignment } = job.document;
  if (alignment === null) {
    throw new AppError('not-aligned', 'The scans of this job are not aligned yet.', 'Run align first.');
  }
  if (alignment.covarianceSha256 === null) {
    throw new AppError(
      'covariance-unknown',
      'The alignment of this job holds no covariance of its frames: nothing was adjusted, or an early version did it.',
      'Run align --force; frames that were refused need more ties.',
    );
  }
  return decodeCovarianceBlob(await job.blobs.get(alignment.covarianceSha256));
}
