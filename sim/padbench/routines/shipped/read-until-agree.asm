; Reads the pad again and again until two passes in a row agree. Result in A.

port    = $4016
last    = $01
buttons = $02

read:
        jsr pass
again:
        lda buttons
        sta last
        jsr pass
        lda buttons
        cmp last
        bne again
        rts

pass:
        lda #$01
        sta port
        sta buttons
        lsr a
        sta port
loop:
        lda port
        lsr a
        rol buttons
        bcc loop
        rts
; padbench: result A
