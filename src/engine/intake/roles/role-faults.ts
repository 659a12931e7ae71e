import { powerToDb, type Role, type RoleFault } from '../../../domain/index.ts'
import { isFullRange, isLowBandOnly, SILENT_POWER } from './order.ts'
import type { RolesSummary } from './summary.ts'

/** What is left of a channel when its copy is taken away: -40 dB. */
const COPY_REST = 1e-4
/** Two channels of a pair that cancel more than they add: over all, and over the spectrum, where bass does not rule. */
const INVERTED_CORRELATION = -0.3
const INVERTED_IN_PHASE = -0.25
/** Same-side coherences exceed cross-side ones by this in a segment for it to tell; so many must tell, and agree. */
const TELLING_COHERENCE = 0.08
const FEWEST_TELLING = 2
const AGREEING_SHARE = 0.8
/** Surrounds that are this much louder than the fronts, and nearer to the centre by this coherence. */
const LOUD_SURROUNDS_DB = 3
const NEAR_CENTRE = 0.15
/** Speech raises the channel that carries it at least this much, and by this much more than the centre. */
const LEAST_RISE_DB = 4
const RISE_DIFFERENCE_DB = 4
/** Without a speech lane: speech moves by 8 to 12 dB from window to window, music by 1 to 5. */
const SPEECH_LIVELINESS_DB = 7
const MUSIC_LIVELINESS_DB = 4

export function findRoleFaults(summary: RolesSummary, roles: readonly Role[], isOrderWrong: boolean): RoleFault[] {
  const at = (role: Role) => roles.indexOf(role)
  const surrounds = [at('Ls'), at('Rs')] as const
  return [
    ...silentChannels(summary, roles),
    ...duplicates(summary, roles),
    ...(isOrderWrong ? [] : bandFaults(summary, roles)),
    ...(isOrderWrong ? [] : invertedPairs(summary, roles)),
    ...(isOrderWrong ? [] : swappedSides(summary, roles, surrounds)),
    ...(isOrderWrong ? [] : swappedFronts(summary, roles, surrounds)),
    ...(isOrderWrong ? [] : dialogueElsewhere(summary, roles, at('C'))),
  ]
}

function silentChannels(summary: RolesSummary, roles: readonly Role[]): RoleFault[] {
  const silent = roles.filter((role, channel) => role !== 'LFE' && summary.powers[channel]! < SILENT_POWER)
  if (silent.length === 0 || silent.length === roles.filter((role) => role !== 'LFE').length) return []
  return [
    {
      kind: 'silent',
      channels: silent,
      confidence: 0.95,
      evidence: [`${silent.join(', ')} stay below -90 dBFS over the whole programme.`],
      remedy: 'Check that nothing was lost; a layout with fewer channels may be meant.',
    },
  ]
}

function duplicates(summary: RolesSummary, roles: readonly Role[]): RoleFault[] {
  return pairsOf(roles).flatMap(([a, b]): RoleFault[] => {
    if (Math.min(summary.powers[a]!, summary.powers[b]!) < SILENT_POWER) return []
    const { correlation } = summary.pair(a, b)
    if (1 - correlation * correlation > COPY_REST) return []
    const gainDb = powerToDb(summary.powers[b]! / summary.powers[a]!)
    const isInverted = correlation < 0
    const isMonoSurround = roles[a] === 'Ls' && roles[b] === 'Rs' && !isInverted
    return [
      {
        kind: isInverted ? 'inverted-duplicate' : 'duplicate',
        channels: [roles[a]!, roles[b]!],
        confidence: 0.95,
        evidence: [
          `${roles[b]} is ${isInverted ? 'an inverted' : 'a'} copy of ${roles[a]} at ${gainDb.toFixed(1)} dB.`,
        ],
        remedy: isMonoSurround
          ? 'A mono surround, as a matrix leaves it: keep it if it is meant.'
          : 'Check the routing; measured loudness counts both.',
      },
    ]
  })
}

function pairsOf(roles: readonly Role[]): (readonly [number, number])[] {
  return roles.flatMap((_, a) => roles.slice(a + 1).map((_, offset) => [a, a + 1 + offset] as const))
}

function bandFaults(summary: RolesSummary, roles: readonly Role[]): RoleFault[] {
  return roles.flatMap((role, channel): RoleFault[] => {
    const share = powerToDb(summary.highShares[channel]! + 1e-12).toFixed(0)
    if (role === 'LFE' && isFullRange(summary, channel)) {
      return [
        {
          kind: 'full-range-lfe',
          channels: [role],
          confidence: 0.85,
          evidence: [`The LFE has ${share} dB of its energy above 250 Hz; it carries 20 to 120 Hz (ITU-R BS.775).`],
          remedy: 'Check the routing; low-pass the LFE at 120 Hz if it is meant.',
        },
      ]
    }
    if (role !== 'LFE' && isLowBandOnly(summary, channel)) {
      return [
        {
          kind: 'low-band-only',
          channels: [role],
          confidence: 0.7,
          evidence: [`${role} has ${share} dB of its energy above 250 Hz, as an LFE has.`],
          remedy: 'Check whether the LFE lies there.',
        },
      ]
    }
    return []
  })
}

function invertedPairs(summary: RolesSummary, roles: readonly Role[]): RoleFault[] {
  const pairs = [
    ['L', 'R'],
    ['Ls', 'Rs'],
    ['Lrs', 'Rrs'],
  ] as const
  return pairs.flatMap(([left, right]): RoleFault[] => {
    const [a, b] = [roles.indexOf(left), roles.indexOf(right)]
    if (a < 0 || Math.min(summary.powers[a]!, summary.powers[b]!) < SILENT_POWER) return []
    const { correlation, inPhase } = summary.pair(a, b)
    // An exact inverted copy is told as such.
    if (correlation > INVERTED_CORRELATION || inPhase > INVERTED_IN_PHASE || 1 - correlation * correlation <= COPY_REST)
      return []
    return [
      {
        kind: 'inverted-pair',
        channels: [left, right],
        confidence: Math.min(0.95, 0.4 - inPhase),
        evidence: [`${left} and ${right} correlate at ${correlation.toFixed(2)} over the programme: they cancel.`],
        remedy: `Invert the polarity of ${left} or ${right} after listening to both.`,
      },
    ]
  })
}

function swappedSides(summary: RolesSummary, roles: readonly Role[], [ls, rs]: readonly [number, number]): RoleFault[] {
  const differences = summary
    .coherences([
      [0, ls],
      [1, rs],
      [0, rs],
      [1, ls],
    ])
    .map(([sameL, sameR, crossL, crossR]) => sameL! + sameR! - crossL! - crossR!)
  const telling = differences.filter((difference) => Math.abs(difference) >= TELLING_COHERENCE)
  const crossed = telling.filter((difference) => difference < 0)
  if (telling.length < FEWEST_TELLING || crossed.length < AGREEING_SHARE * telling.length) return []
  return [
    {
      kind: 'swapped-sides',
      channels: [roles[ls]!, roles[rs]!],
      confidence: Math.min(0.9, 0.5 + 0.05 * telling.length),
      evidence: [
        `L goes with Rs and R with Ls in ${crossed.length} of ${telling.length} stretches that tell.`,
        'Either the surrounds or the fronts are swapped.',
      ],
      remedy: 'Listen for a movement from side to side, and swap the pair that is wrong.',
    },
  ]
}

function swappedFronts(
  summary: RolesSummary,
  roles: readonly Role[],
  [ls, rs]: readonly [number, number],
): RoleFault[] {
  const c = roles.indexOf('C')
  const power = (a: number, b: number) => summary.powers[a]! + summary.powers[b]!
  const differenceDb = powerToDb(power(ls, rs) + 1e-20) - powerToDb(power(0, 1) + 1e-20)
  const nearness = (a: number, b: number) => (summary.pair(c, a).coherence ?? 0) + (summary.pair(c, b).coherence ?? 0)
  const difference = nearness(ls, rs) - nearness(0, 1)
  if (differenceDb < LOUD_SURROUNDS_DB || difference < NEAR_CENTRE) return []
  return [
    {
      kind: 'swapped-front-and-surround',
      channels: ['L', 'R', 'Ls', 'Rs'],
      confidence: 0.7,
      evidence: [
        `The surrounds are ${differenceDb.toFixed(0)} dB louder than the fronts.`,
        'The centre shares its sound with the surrounds and not with the fronts.',
      ],
      remedy: 'Check the routing: front and surround pair may be swapped.',
    },
  ]
}

function dialogueElsewhere(summary: RolesSummary, roles: readonly Role[], c: number): RoleFault[] {
  const mains = roles.flatMap((role, channel) => (role === 'LFE' || channel === c ? [] : [channel]))
  const best = (values: readonly number[]) => mains.toSorted((a, b) => values[b]! - values[a]!)[0]!
  const rise = summary.speechRiseDb
  if (rise !== null) {
    const channel = best(rise)
    if (rise[channel]! < LEAST_RISE_DB || rise[channel]! - rise[c]! < RISE_DIFFERENCE_DB) return []
    const figures = `${rise[channel]!.toFixed(0)} dB in ${roles[channel]}, by ${rise[c]!.toFixed(0)} dB in C`
    return [elsewhere(roles[channel]!, 0.8, `Speech raises the level by ${figures}.`)]
  }
  const lively = summary.livelinessDb
  const channel = best(lively)
  const others = mains.filter((other) => other !== channel).map((other) => lively[other]!)
  if (lively[channel]! < SPEECH_LIVELINESS_DB || Math.max(lively[c]!, ...others) > MUSIC_LIVELINESS_DB) return []
  return [elsewhere(roles[channel]!, 0.5, `${roles[channel]} moves as speech does, C and the others as music does.`)]
}

function elsewhere(role: Role, confidence: number, sentence: string): RoleFault {
  return {
    kind: 'dialogue-elsewhere',
    channels: [role, 'C'],
    confidence,
    evidence: [sentence],
    remedy: `Check whether ${role} and C are swapped.`,
  }
}
