"""Large walls with code that is right, or wrong at one place: is what is said true?"""
