// Loaded into a measured Node process: writes what it spent to the file named by SPENT_AT_EXIT when it ends.
import { readFileSync, writeFileSync } from 'node:fs'
import { isMainThread } from 'node:worker_threads'

// The highest resident size of this program alone: that of resourceUsage() may be inherited from the parent.
const peakKilobytes = () => Number(/VmHWM:\s+(\d+)/.exec(readFileSync('/proc/self/status', 'utf8'))[1])

if (isMainThread) {
  process.on('exit', () => {
    const { user, system } = process.cpuUsage()
    writeFileSync(process.env.SPENT_AT_EXIT, JSON.stringify({ user, system, peakKilobytes: peakKilobytes() }))
  })
}
