// The register as its truth table has it, and a port that reads it. For tests of the capture
// readers only: each simulator writes its own VCD of the same reads.
`timescale 1ns / 1ns
module pad (input wire latch, input wire clock, input wire [7:0] held, output wire data);
  reg [7:0] stages;
  // The load is transparent: held contacts pull their inputs low.
  always @(posedge clock or posedge latch or held)
    if (latch) stages <= ~held;
    else if (clock) stages <= {stages[6:0], 1'b0};
  assign data = stages[7];
endmodule
