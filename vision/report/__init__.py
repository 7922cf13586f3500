"""Stage 9 of 9: reading -> terminal table, JSON document, pictures. No arithmetic beyond rounding and drawing."""
