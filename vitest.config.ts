import { defineConfig } from 'vitest/config'

export default defineConfig({
  test: {
    include: ['src/**/*.test.ts', 'test/**/*.test.ts'],
    maxWorkers: 2,
    testTimeout: 120_000,
  },
})
