// Measures speed and memory beside the peers; arguments are passed on.
import { main, ready, runNode } from './ready.mjs'

await main(async () => {
  await ready()
  return runNode('node_modules/tsx/dist/cli.mjs', ['bench/main.ts', ...process.argv.slice(2)])
})
