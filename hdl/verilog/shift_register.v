// The pad's register: parallel in, serial out, loaded without the clock while load is high
// (4021 family; truth table of the CD4021B data sheet, SCHS024).
//
// Bit 0 of inputs is stage 1, which serial enters; the last stage is the output and is read first.
module shift_register #(
    parameter STAGES = 8
) (
    input  wire              load,
    input  wire              clock,
    input  wire              serial,
    input  wire [STAGES-1:0] inputs,
    output wire              data
);
    wire [STAGES-1:0] set    = {STAGES{load}} & inputs;
    wire [STAGES-1:0] clear  = {STAGES{load}} & ~inputs;
    wire [STAGES-1:0] previous;
    reg  [STAGES-1:0] stages;

    // Load gates each stage's own set and clear, so that an input which moves during the load is
    // followed; a load in the sensitivity list alone would miss it.
    genvar n;
    generate
        for (n = 0; n < STAGES; n = n + 1) begin : stage
            if (n == 0) begin : first
                assign previous[n] = serial;
            end else begin : later
                assign previous[n] = stages[n-1];
            end
            always @(posedge clock or posedge set[n] or posedge clear[n])
                if (set[n])        stages[n] <= 1'b1;
                else if (clear[n]) stages[n] <= 1'b0;
                else               stages[n] <= previous[n];
        end
    endgenerate

    assign data = stages[STAGES-1];
endmodule
