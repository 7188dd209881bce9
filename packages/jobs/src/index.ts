// Jobs: the job folder on disk (journal, blobs, undo, lock) and the pool of worker threads. Node only.

export * from './byte-source.ts';
export * from './node-run-context.ts';
export * from './operations/add-files.ts';
export * from './operations/align-job.ts';
export * from './operations/bounds-of-scan.ts';
export * from './operations/change-job.ts';
export * from './operations/hash-file.ts';
export * from './operations/load-scan.ts';
export * from './operations/log-job.ts';
export * from './operations/new-job.ts';
export * from './operations/plan-sessions.ts';
export * from './operations/read-input-file.ts';
export * from './operations/result-record.ts';
export * from './operations/show-job.ts';
export * from './operations/undo-change.ts';
export * from './operations/verify-job.ts';
export * from './pool/shared-arrays.ts';
export * from './pool/worker-pool.ts';
export * from './store/blob-store.ts';
export * from './store/job-history.ts';
export * from './store/job-store.ts';
export * from './store/journal.ts';
export * from './store/scan-blob.ts';
export * from './store/storage-files.ts';
