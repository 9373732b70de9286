// What a line has that is let go.
module \$tribuf (A, EN, Y);
    parameter WIDTH = 1;
    input [WIDTH-1:0] A; input EN; output [WIDTH-1:0] Y;
    assign Y = EN ? A : {{WIDTH{{1'b{level}}}}};
endmodule
