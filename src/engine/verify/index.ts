export { type JudgeContext, judge, judgeSignal } from './judge.ts'
export { judgeBreaks } from './judge-breaks.ts'
export { type DeliveryToJudge, type Judgement, judgeDelivery } from './judge-delivery.ts'
export { findPassages } from './passages/index.ts'
