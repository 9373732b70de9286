// A counter whose value is known only while it is below MOST: above, each step may bring any other
// value above. It does all that the design's own does, and more, so what is proved with it holds.
module \$dff (CLK, D, Q);
    parameter WIDTH = 8, CLK_POLARITY = 1;
    localparam MOST = {most};
    input CLK;
    input [WIDTH-1:0] D;
    output [WIDTH-1:0] Q;
    wire [WIDTH-1:0] any;
    \$anyseq #(.WIDTH(WIDTH)) free (.Y(any));
    wire [WIDTH-1:0] above = any < MOST ? MOST : any;
    wire [WIDTH-1:0] next = D < MOST || D == Q ? D : above;
    \$dff #(.WIDTH(WIDTH), .CLK_POLARITY(CLK_POLARITY)) _TECHMAP_REPLACE_ (
        .CLK(CLK), .D(next), .Q(Q)
    );
endmodule
