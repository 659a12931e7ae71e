import { defineConfig } from 'vitest/config'

export default defineConfig({
  test: {
    include: ['src/**/*.test.ts', 'test/**/*.test.ts'],
    maxWorkers: 2,
    // Against hanging only: speed is the bench's business, and a busy machine is no failure.
    testTimeout: 300_000,
    hookTimeout: 600_000,
  },
})
