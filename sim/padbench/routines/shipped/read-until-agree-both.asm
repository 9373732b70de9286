; Reads the pads on both ports, together, until two passes in a row agree on both. Results at
; pad1 and pad2.

port1   = $4016
port2   = $4017
pad1    = $00
pad2    = $01
last1   = $02
last2   = $03

read:
        jsr pass
again:
        lda pad1
        sta last1
        lda pad2
        sta last2
        jsr pass
        lda pad1
        cmp last1
        bne again
        lda pad2
        cmp last2
        bne again
        rts

pass:
        lda #$01
        sta port1
        sta pad2
        lsr a
        sta port1
loop:
        lda port1
        lsr a
        rol pad1
        lda port2
        lsr a
        rol pad2
        bcc loop
        rts
; padbench: result pad1,pad2
