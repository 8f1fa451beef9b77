package api

import "github.com/gin-gonic/gin"

func (s *server) linkRoutes(e *gin.Engine) {}
