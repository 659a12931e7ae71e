import { assert, type NetworkLayer, type SpeechWeights } from '../domain/index.ts'
import { readConstants } from './onnx.ts'

/** The branch of the model for 16 kHz; the other one is for 8 kHz. */
const BRANCH = 'If_0_then_branch__Inline_0__'

/** Takes the weights for 16 kHz out of the model file. */
export function readSpeechModel(file: Uint8Array): SpeechWeights {
  const constants = readConstants(file)
  const tensor = (name: string, length: number): Float32Array => {
    const found = constants.get(BRANCH + name)
    assert(found?.length === length, `the speech model holds ${length} weights of ${name}`)
    return found
  }
  const convolution = (index: number, inputs: number, outputs: number): NetworkLayer => ({
    weight: tensor(`encoder.${index}.reparam_conv.weight`, outputs * inputs * 3),
    bias: tensor(`encoder.${index}.reparam_conv.bias`, outputs),
  })
  const gates = (from: string): NetworkLayer => ({
    weight: tensor(`decoder.rnn.weight_${from}`, 512 * 128),
    bias: tensor(`decoder.rnn.bias_${from}`, 512),
  })
  return {
    spectrum: tensor('stft.forward_basis_buffer', 258 * 256),
    encoder: [convolution(0, 129, 128), convolution(1, 128, 64), convolution(2, 64, 64), convolution(3, 64, 128)],
    inputGates: gates('ih'),
    stateGates: gates('hh'),
    output: { weight: tensor('decoder.decoder.2.weight', 128), bias: tensor('decoder.decoder.2.bias', 1) },
  }
}
