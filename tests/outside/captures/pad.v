// The register as its truth table has it, and a port that reads it. For tests of the capture
// readers only: each simulator writes its own VCD of the same reads.
`timescale 1ns / 1ns
module pad (input wire latch, input wire clock, input wire [7:0] held, output wire data);
  reg [7:0] stages;
  // Held contacts pull their inputs low. The bench moves none while the latch is high, so an edge
  // will do where the real load is transparent.
  always @(posedge clock or posedge latch)
    if (latch) stages <= ~held;
    else stages <= {stages[6:0], 1'b0};
  assign data = stages[7];
endmodule
