// Jobs: the job folder on disk (journal, blobs, undo, lock) and the pool of worker threads. Node only.
export * from './node-run-context.ts';
export * from './pool/shared-arrays.ts';
export * from './pool/worker-pool.ts';
export * from './store/blob-store.ts';
export * from './store/job-history.ts';
export * from './store/job-store.ts';
export * from './store/journal.ts';
export * from './store/scan-blob.ts';
export * from './store/storage-files.ts';
